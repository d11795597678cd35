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

func TestRefusedBeforeAnythingIsBuilt(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ text, want string }{
		"alias":      {"records:\n  - &a {site: {}}\n  - *a\n", "anchors are not taken"},
		"tag":        {"records:\n  - site: {title: !!binary aGk=}\n", "tags are not taken"},
		"depth":      {"records:\n  - policy: {document: {a: " + strings.Repeat("[", 40) + strings.Repeat("]", 40) + "}}\n", "nested deeper than 32"},
		"bomb":       {"records: " + strings.Repeat("[", 1<<20), "not YAML"},
		"not yaml":   {"records:\n\t- x", "not YAML"},
		"no records": {"sites: []\n", "unknown field"},
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
