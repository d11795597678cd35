package recordfile

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"

	"buf.build/go/protovalidate"

	pb "lastlight/proto/lastlight/v1"
)

func source(text string) Source { return Source{"f.yaml", []byte(text)} }

func TestFilesComeBackAsTheyWere(t *testing.T) {
	t.Parallel()
	src, err := Open("testdata/club.yaml", nil)
	if err != nil {
		t.Fatal(err)
	}
	first, problems := Read(src)
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	kinds := (&pb.Record{}).ProtoReflect().Descriptor().Fields().Len()
	if len(first.Records) != kinds {
		t.Fatalf("%d records, want one of each of %d kinds", len(first.Records), kinds)
	}
	zurich, err := time.LoadLocation("Europe/Zurich")
	if err != nil {
		t.Fatal(err)
	}
	w := Writer{Zone: func(site string) *time.Location {
		if site == "hollow-spring" {
			return zurich
		}
		return nil
	}}
	var out bytes.Buffer
	// In two parts, as pages come.
	for _, part := range [][]*pb.Record{first.Records[:5], first.Records[5:]} {
		if err := w.Write(&out, part); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(&out); err != nil {
		t.Fatal(err)
	}
	second, problems := Read(Source{"out.yaml", out.Bytes()})
	if len(problems) > 0 {
		t.Fatalf("%v\nin\n%s", problems, out.String())
	}
	for i := range first.Records {
		if !proto.Equal(first.Records[i], second.Records[i]) {
			t.Errorf("record %d differs:\n%v\n%v", i, first.Records[i], second.Records[i])
		}
	}
	golden(t, "club.out.yaml", out.String())
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if os.Getenv("UPDATE_GOLDEN") != "" {
		if err := os.WriteFile(path, []byte(got), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s (UPDATE_GOLDEN=1 writes it):\n%s", path, got)
	}
}

// TestEveryProblemAtOnce: place, what was read, what is expected.
func TestEveryProblemAtOnce(t *testing.T) {
	t.Parallel()
	_, problems := Read(source(`records:
  - cylinder:
      id: c-1
      serial: "4471"
      maker: Borealis
      water_volume: {litres: 12}
      working_pressure: {bar: 2100}
      material: wood
      jurisdiction: ch
      colour: blue
  - fill:
      cylinder: c-1
      filled_at: yesterday
      pressure: {bar: 220, psi: 3000}
      intended: {oxygen_percent: 0.32}
      intended: {oxygen_percent: 32}
  - permit:
      site: hollow-spring
      from_day: 2026-02-30
      to_day: 2026-03-01
      notes:
  - survey:
      site: hollow-spring
      surveyed_day: 2025-09-14
      stations:
        - {id: a, depth_m: .nan}
        - {id: b, depth_m: .inf}
        - {id: c, depth_m: "12"}
        - {id: d, depth_m: 1e999}
      legs:
        - {id: l, from: a, to: b, length_m: 12,5}
`))
	golden(t, "problems.txt", problems.Error()+"\n")
}

// What people get wrong in a file that they typed by hand: what is said of it, and that nothing is said that only follows from it.
func TestHonestMistakes(t *testing.T) {
	t.Parallel()
	site := func(more string) string {
		return "records:\n  - site:\n      id: spring\n      title: Spring\n      time_zone: Europe/Zurich\n      water_density: 1000\n      grade: 1\n" + more
	}
	for name, c := range map[string]struct{ text, want string }{
		"a tab": {
			site("\t  notes: x\n"),
			"f.yaml:8:1: not YAML: a tab in front of a line\n    read:     notes: x\n    expected: blanks alone: YAML takes no tabs there\n1 problem",
		},
		"a line that is out of line, and a fault of a record before it": {
			"records:\n  - site:\n      id: Spring\n      title: Spring\n      time_zone: Europe/Zurich\n      water_density: 1000\n      grade: 1\n  - site:\n      id: well\n     title: Well\n  - site: {}\n",
			"f.yaml:3:11: records[0].site.id\n    read:     Spring\n    expected: a key of small letters, digits and hyphens, at most 63\n" +
				"f.yaml:10: not YAML: this line does not stand under those above it\n    read:     title: Well\n    expected: the same number of blanks in front as the lines of the same block\n2 problems",
		},
		"a colon in a text": {
			site("      notes: beware: silt\n"),
			"f.yaml:8: not YAML: a second colon, or a line that stands too far to the right\n    read:     notes: beware: silt\n    expected: a text that holds a colon and a blank between quotes; fields of a block one below the other\n1 problem",
		},
		"a list that is not ended, after one over two lines": {
			site("      thresholds: {level_min_m: 1,\n        level_max_m: 2}\n      closures: [{from_day: 2026-01-01, to_day: 2026-02-01}\n      notes: x\n"),
			"f.yaml:10: not YAML: a list that is begun with [ is not ended, or lacks a comma",
		},
		"a misspelt field is read as what was meant": {
			"records:\n  - site:\n      id: spring\n      titel: Spring\n      timezone: Europe/Zurich\n      water_density: 1000\n      grde: 9\n",
			"f.yaml:4:7: records[0].site.titel: unknown field\n    read:     titel\n    expected: perhaps title; one of id, title, time_zone, water_density, altitude_m, barometer_bar, water_temperature_c, grade, coarse_position, exact_position, access_notes, gate_code, thresholds, emergency, closures, notes, permit_required\n" +
				"f.yaml:5:7: records[0].site.timezone: unknown field\n    read:     timezone\n    expected: perhaps time_zone; one of id, title, time_zone, water_density, altitude_m, barometer_bar, water_temperature_c, grade, coarse_position, exact_position, access_notes, gate_code, thresholds, emergency, closures, notes, permit_required\n" +
				"f.yaml:7:7: records[0].site.grde: unknown field\n    read:     grde\n    expected: perhaps grade; one of id, title, time_zone, water_density, altitude_m, barometer_bar, water_temperature_c, grade, coarse_position, exact_position, access_notes, gate_code, thresholds, emergency, closures, notes, permit_required\n" +
				"f.yaml:7:13: records[0].site.grade\n    read:     9\n    expected: a whole number, 1 to 5\n4 problems",
		},
		"units and decimals": {
			site("      altitude_m: 480m\n      barometer_bar: 0,96\n      thresholds: {level_max_m: 1,5}\n      water_temperature_c: '7'\n"),
			"f.yaml:8:19: records[0].site.altitude_m: the number alone: the field's name has the unit\n    read:     480m\n    expected: a number, -430 to 5500 m\n" +
				"f.yaml:9:22: records[0].site.barometer_bar: a decimal comma: write a point\n    read:     0,96\n    expected: a number, 0.5 to 1.1 bar\n" +
				"f.yaml:10:33: records[0].site.thresholds.level_max_m: a decimal comma: write a point\n    read:     1,5\n" +
				"f.yaml:11:28: records[0].site.water_temperature_c: a number between quotes is a text\n    read:     \"7\"\n    expected: a number, -2 to 45 °C\n4 problems",
		},
		"a quantity without its unit": {
			"records:\n  - fill: {cylinder: c-1, filled_at: 2026-06-01T08:10+02:00, pressure: 210bar, intended: 32}\n",
			"f.yaml:2:72: records[0].fill.pressure\n    read:     210bar\n    expected: a pressure with its unit, {bar: 200} or {psi: 2900}\n" +
				"f.yaml:2:90: records[0].fill.intended\n    read:     32\n    expected: a gas in percent, {oxygen_percent: 32} or {oxygen_percent: 18, helium_percent: 45}\n2 problems",
		},
		"named twice": {
			"records:\n  - cylinder_set: {id: s-1, kind: twinset, cylinders: [a, b, a]}\n",
			"f.yaml:2:62: records[0].cylinder_set.cylinders: is in the list already\n    read:     a\n    expected: each of them once\n1 problem",
		},
		"a mix of more than the whole, beside another fault": {
			"records:\n  - fill: {cylinder: c-1, filled_at: yesterday, pressure: {bar: 200}, intended: {oxygen_percent: 60, helium_percent: 50}}\n",
			"f.yaml:2:38: records[0].fill.filled_at\n    read:     yesterday\n    expected: a time with its offset, e.g. 2026-06-01T08:10+02:00\n" +
				"f.yaml:2:81: records[0].fill.intended: oxygen and helium together are more than 100 %\n    read:     a block\n2 problems",
		},
		"a record by itself": {
			"site:\n  id: spring\n  title: Spring\n",
			"f.yaml:1:1: a record by itself, and no list of records\n    read:     site:\n    expected: records: in the first line, and below it \"  - site:\"\n1 problem",
		},
		"the fields of a plan": {
			"site: spring\nleader: ane\nteam: []\n",
			"f.yaml:1:1: the fields of one plan, and no list of records\n    read:     site:\n",
		},
		"the fields of a fill": {
			"cylinder: c-1\nfilled_at: x\npressure: {}\n",
			"f.yaml:1:1: the fields of one fill, and no list of records\n    read:     cylinder:\n    expected: records: and a list of records; the fields of one record are for -f of a command such as create or update\n1 problem",
		},
		"a mapping of headings": {"kind: person\nfields: {id: \"{No}\"}\n", "f.yaml:1:1: a mapping of headings, and no file of records\n"},
		"a CSV file":            {"id,title\nspring,Spring\n", "f.yaml:1:1: text, and no file of records\n    read:     id,title spring,Spring\n    expected: records: and a list of records; a CSV file is for `lastlight sheet in`\n1 problem"},
	} {
		_, problems := Read(source(c.text))
		if len(problems) == 0 || !strings.HasPrefix(problems.Error(), c.want) {
			t.Errorf("%s: got\n%v\nwant\n%s", name, problems, c.want)
		}
	}
}

// A file of records where the fields of one are wanted is one mistake, not one for every field that is missing.
func TestFileOfAnotherKind(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"records:\n  - plan: {id: a}\n": "f.yaml:1:1: a file of records\n    read:     records:\n    expected: the fields of one plan; a file of records is for `lastlight apply -f`\n1 problem; nothing was stored",
		"plan:\n  id: a\n":              "f.yaml:1:1: a record under its kind\n    read:     plan:\n    expected: the fields of the plan by themselves, without \"plan:\" around them\n1 problem; nothing was stored",
		"- id: a\n":                     "f.yaml:1:1: no block of fields\n    read:     a list\n    expected: the fields of one plan: id, site, survey, expedition, kind, goal, leader, team …\n1 problem; nothing was stored",
	} {
		if _, problems := ReadMessage(source(text), &pb.Plan{}); problems.Error() != want {
			t.Errorf("got\n%v\nwant\n%s", problems, want)
		}
	}
}

// What the server says against a record is told beside a fault of one of its fields; what follows from text that could not be read
// is not: a field in it, or a record of unknown kind that another one names.
func TestWhatFollowsIsNotTold(t *testing.T) {
	t.Parallel()
	f, _ := Read(source("records:\n  - cylinder: {id: c-1, colour: blue, working_pressure: {bars: 232}}\n  - cylindre-thing: {id: c-2}\n  - fill: {cylinder: c-2, filled_at: x}\n"))
	for _, c := range []struct {
		field, read string
		want        bool
	}{
		{"records[0].cylinder", "", false},
		{"records[0].cylinder.serial", "", false},
		{"records[0].cylinder.working_pressure", "", true},
		{"records[0].cylinder.colour", "", true},
		{"records[1]", "", true},
		{"records[1].record", "", true},
		{"records[2].fill.cylinder", "c-2", true},
		{"records[2].fill.cylinder", "c-3", false},
		{"records[2].fill.filled_at", "", true},
	} {
		if got := f.Places.Follows(&pb.Problem{Field: c.field, Read: c.read}); got != c.want {
			t.Errorf("%s (read %q) follows: %v, want %v", c.field, c.read, got, c.want)
		}
	}
	if f, _ := Read(source("records:\n  - site: {id: a}\n  - site: {id: [}\n")); !f.Partial || len(f.Records) != 0 {
		t.Errorf("a file that ends in the middle: partial %v, %d records", f.Partial, len(f.Records))
	}
}

func TestRefusedBeforeAnythingIsBuilt(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ text, want string }{
		"alias":      {"records:\n  - &a {site: {}}\n  - *a\n", "anchors are not taken"},
		"tag":        {"records:\n  - site: {title: !!binary aGk=}\n", "tags are not taken"},
		"depth":      {"records:\n  - policy: {document: {a: " + strings.Repeat("[", 40) + strings.Repeat("]", 40) + "}}\n", "nested deeper than 32"},
		"bomb":       {"records: " + strings.Repeat("[", 1<<20), "not YAML"},
		"not yaml":   {"records:\n\t- x", "not YAML"},
		"no records": {"sites: []\n", "no file of records"},
		"empty":      {"", "no records"},
		"list":       {"- site: {}\n", "read:     a list"},
		"two kinds":  {"records:\n  - site: {}\n    person: {}\n", "stands beside site"},
		"none":       {"records:\n  - {}\n", "exactly one"},
		"misnamed":   {"records:\n  - set: {}\n", "1 problem;"},
		"merge":      {"records:\n  - {<<: {site: {}}}\n", "unknown field"},
	} {
		_, problems := Read(source(c.text))
		if len(problems) == 0 || !strings.Contains(problems.Error(), c.want) {
			t.Errorf("%s: got %v, want %q", name, problems, c.want)
		}
	}
}

func TestSeveralFilesAndDocumentsCountOn(t *testing.T) {
	t.Parallel()
	role := "records:\n  - role: {person: ane, role: diver}\n"
	f, problems := Read(Source{"a.yaml", []byte(role + "---\n" + role)}, Source{"b.yaml", []byte(role)})
	if len(problems) > 0 || len(f.Records) != 3 {
		t.Fatal(problems, len(f.Records))
	}
	p := f.Places.FromServer(&pb.Problem{Field: "records[2].role.person", Message: "nobody by that id"})
	if p.Place != (Place{File: "b.yaml", Line: 2, Column: 20}) || p.Read != "ane" {
		t.Errorf("got %+v", p)
	}
	// The field is not in the file: the nearest thing around it is.
	p = f.Places.FromServer(&pb.Problem{Field: "records[1].role.expedition"})
	if p.Place != (Place{File: "a.yaml", Line: 5, Column: 11}) || p.Read != "" {
		t.Errorf("got %+v", p)
	}
}

// TestLargeFilesAreNotRead: a 200 MB file is refused by its size.
func TestLargeFilesAreNotRead(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "large.yaml")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := f.Truncate(200 << 20); err != nil { // sparse: takes no room
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(path, nil); err == nil || !strings.Contains(err.Error(), "209715200 bytes") {
		t.Error(err)
	}
	if _, err := Open("-", endless{}); err == nil || !strings.Contains(err.Error(), "too large") {
		t.Error(err)
	}
}

type endless struct{}

func (endless) Read(p []byte) (int, error) { return len(p), nil }

// TestAwkwardTexts: what YAML might take for something else comes back as it was.
func TestAwkwardTexts(t *testing.T) {
	t.Parallel()
	for _, s := range []string{
		"true", "null", "~", "0123", "1e3", ".nan", "- x", "a: b", "# x", "  led", "tail  ", "", "2026-06-01", "two\nlines\n", "\n\nled by blanks\n\n", "  indented\nthen not",
		"a\n\nb", "'", "\"", "{}", "*x", "&x", "!x", "%", "@", "\u00e9 \u6c34 \U0001f30a", "tab\tin", "<<", "=", strings.Repeat("long text ", 60) + "end", "y", "off", "12:30",
	} {
		r := &pb.Record{Record: &pb.Record_Incident{Incident: &pb.Incident{
			HappenedAt: timestamppb.New(time.Unix(1e9, 0)), Level: proto.Int32(0), Narrative: "x" + s, Lessons: s, Types: []string{"line"},
		}}}
		var out bytes.Buffer
		w := Writer{}
		if err := w.Write(&out, []*pb.Record{r}); err != nil {
			t.Fatal(err)
		}
		f, problems := Read(Source{"x", out.Bytes()})
		if len(problems) > 0 || len(f.Records) != 1 || !proto.Equal(f.Records[0], r) {
			t.Errorf("%q: %v\n%s", s, problems, out.String())
		}
	}
}

func TestInstants(t *testing.T) {
	t.Parallel()
	want := time.Date(2026, 6, 1, 6, 10, 0, 0, time.UTC)
	for _, s := range []string{"2026-06-01T08:10+02:00", "2026-06-01T08:10:00+02:00", "2026-06-01 08:10 +02:00", "2026-06-01T06:10Z"} {
		got, err := ParseInstant(s)
		if err != nil || !got.AsTime().Equal(want) {
			t.Errorf("%s: %v %v", s, got, err)
		}
	}
	for _, s := range []string{"2026-06-01T08:10", "2026-06-01", "08:10", "2026-02-30T08:10+02:00"} {
		if got, err := ParseInstant(s); err == nil {
			t.Errorf("%s: %v", s, got)
		}
	}
}

// TestEveryPatternHasWords: no regular expression is shown to a person.
func TestEveryPatternHasWords(t *testing.T) {
	t.Parallel()
	seen := map[protoreflect.FullName]bool{}
	var walk func(md protoreflect.MessageDescriptor)
	walk = func(md protoreflect.MessageDescriptor) {
		if seen[md.FullName()] {
			return
		}
		seen[md.FullName()] = true
		for i := range md.Fields().Len() {
			fd := md.Fields().Get(i)
			if fd.Message() != nil {
				walk(fd.Message())
				continue
			}
			r, err := protovalidate.ResolveFieldRules(fd)
			if err != nil {
				t.Fatal(err)
			}
			if strings.Contains(Expect(fd), "of the form") {
				t.Errorf("%s: %s", fd.FullName(), r.GetString().GetPattern())
			}
		}
	}
	walk((&pb.Record{}).ProtoReflect().Descriptor())
}

var enumWord = regexp.MustCompile(`^[a-z_]+$`)

func TestEnumWords(t *testing.T) {
	t.Parallel()
	values := pb.PlanState_PLAN_STATE_DRAFT.Descriptor().Values()
	for i := range values.Len() {
		if w := EnumWord(values.Get(i)); !enumWord.MatchString(w) || strings.Contains(w, "plan_state") {
			t.Errorf("%s: %q", values.Get(i).Name(), w)
		}
	}
}

// A place within a text is a place in the file, where the lines of the text are those of the file.
func TestPlacesWithinTexts(t *testing.T) {
	t.Parallel()
	file := `records:
  - policy:
      id: p
      document:
        own_rules:
          - holds: |
              plan.weekday != 7 &&
                plan.nigth
          - holds: plan.nigth
          - holds: "plan.nigth"
          - holds: >
              folded
              over
`
	f, problems := Read(Source{"a.yaml", []byte(file)})
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	for _, c := range []struct {
		rule               int
		line, column       int32
		atLine, atColumn   int
		atLineOf, whatItIs string
	}{
		{0, 2, 7, 8, 21, "the second line", "a block"},
		{1, 1, 5, 9, 24, "the line", "plain"},
		{2, 1, 5, 10, 25, "the line", "quoted"},
		{3, 1, 1, 11, 20, "where it begins", "folded"},
		{1, 2, 1, 9, 20, "where it begins", "plain, but not that line"},
	} {
		p := f.Places.FromServer(&pb.Problem{Field: fmt.Sprintf("records[0].policy.document.own_rules[%d].holds", c.rule), Line: c.line, Column: c.column})
		if p.Line != c.atLine || p.Column != c.atColumn {
			t.Errorf("%s: %d:%d, want %d:%d, %s", c.whatItIs, p.Line, p.Column, c.atLine, c.atColumn, c.atLineOf)
		}
	}
}
