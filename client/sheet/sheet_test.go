package sheet

import (
	"bytes"
	"encoding/csv"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/proto"

	"lastlight/client/recordfile"
	pb "lastlight/proto/lastlight/v1"
)

func none(string, []string) ([]*pb.Record, error) { return nil, nil }

func options(m *Mapping) Options {
	return Options{Mapping: m, Zone: "Europe/Oslo", Now: time.Date(2026, 6, 14, 8, 0, 0, 0, time.UTC), Existing: none}
}

func mapping(t *testing.T, text string) *Mapping {
	t.Helper()
	m, err := ReadMapping(recordfile.Source{Name: "map.yaml", Data: []byte(text)})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func read(t *testing.T, o Options, name, text string) (Answer, recordfile.Problems) {
	t.Helper()
	a, problems, err := Read([]recordfile.Source{{Name: name, Data: []byte(text)}}, o)
	if err != nil {
		t.Fatal(err)
	}
	return a, problems
}

// The whole demo club becomes sheets and the same records again.
func TestDemoComesBack(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob("../../testdata/demo/*.yaml")
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	var w Writer
	var want []*pb.Record
	for _, name := range files {
		src, err := recordfile.Open(name, nil)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Contains(src.Data, []byte("records:")) || filepath.Base(name) == "mistakes.yaml" {
			continue
		}
		for mark, with := range map[string]string{`\{today[-+]\d+\}`: "2026-06-01", `\{now[-+]\d+m\}`: "2026-06-14T07:00:00Z", `\{month-\d+\}`: "2024-05", `\{zone\}`: "Europe/Oslo"} {
			src.Data = regexp.MustCompile(mark).ReplaceAll(src.Data, []byte(with))
		}
		f, problems := recordfile.Read(src)
		if len(problems) > 0 {
			t.Fatal(problems)
		}
		for _, r := range f.Records {
			w.Add(r)
			want = append(want, r)
		}
	}
	if len(want) < 100 {
		t.Fatalf("only %d records in the demo", len(want))
	}
	var sources []recordfile.Source
	for _, name := range w.Names() {
		var b bytes.Buffer
		if err := w.Write(&b, name); err != nil {
			t.Fatal(err)
		}
		if lines := bytes.Count(b.Bytes(), []byte("\n")); lines != bytes.Count(b.Bytes(), []byte("\r\n")) {
			t.Errorf("%s: lines end otherwise than with CRLF (RFC 4180)", name)
		}
		sources = append(sources, recordfile.Source{Name: name, Data: b.Bytes()})
	}
	a, problems, err := Read(sources, options(nil))
	if err != nil {
		t.Fatal(err)
	}
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	key := func(r *pb.Record) string {
		m := r.ProtoReflect()
		fd := m.WhichOneof(m.Descriptor().Oneofs().Get(0))
		return string(fd.Name()) + prototext.Format(m.Get(fd).Message().Interface())
	}
	got := a.File.Records
	slices.SortFunc(want, func(a, b *pb.Record) int { return strings.Compare(key(a), key(b)) })
	slices.SortFunc(got, func(a, b *pb.Record) int { return strings.Compare(key(a), key(b)) })
	if len(got) != len(want) {
		t.Fatalf("%d records came back of %d", len(got), len(want))
	}
	for i := range want {
		if !proto.Equal(want[i], got[i]) {
			t.Errorf("went out as\n%s\ncame back as\n%s", prototext.Format(want[i]), prototext.Format(got[i]))
			if t.Failed() && i > 5 {
				break
			}
		}
	}
}

const members = `kind: person
fields:
  id: "{Member no}"
  full_name: "{First name} {Name}"
  birth_day: "{Born}"
  cards.id: "{Card}"
  cards.level: "{Card}"
  cards.issued_day: "{Issued}"
keys: [id, cards.id]
words: {cards.level: {Full: FULL, Apprentice: APP}}
dates: DMY
separator: ";"
encoding: windows-1252
`

// A club's own spreadsheet: two cards of one member are two rows.
func TestOwnHeadings(t *testing.T) {
	t.Parallel()
	text := "Member no;First name;Name;Born;Card;Issued;Shoe size\r\n" +
		"M 17;Ane;H\xf8lm;14.03.1988;Apprentice;01.05.2024;39\r\n" +
		"M 17;Ane;H\xf8lm;14.03.1988;Full;02.06.2025;39\r\n" +
		"\r\n" +
		"M 18;'Per;=1+1;03.04.1990;;;44\r\n"
	a, problems := read(t, options(mapping(t, members)), "members.csv", text)
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	if len(a.File.Records) != 2 || !slices.Equal(a.Unused, []string{"members.csv: Shoe size"}) {
		t.Fatal(a.File.Records, a.Unused)
	}
	ane := a.File.Records[0].GetPerson()
	if ane.Id != "m-17" || ane.FullName != "Ane Hølm" || ane.GetBirthDay() != "1988-03-14" || len(ane.Cards) != 2 ||
		ane.Cards[1].Level != "FULL" || ane.Cards[1].Id != "full" || ane.Cards[0].IssuedDay != "2024-05-01" {
		t.Error(prototext.Format(ane))
	}
	if per := a.File.Records[1].GetPerson(); per.FullName != "'Per =1+1" || len(per.Cards) != 0 {
		t.Error(prototext.Format(per))
	}
	// What is on record and in no column stays; the card there already is found by its key.
	o := options(mapping(t, members))
	o.Existing = func(kind string, ids []string) ([]*pb.Record, error) {
		if kind != "person" || !slices.Equal(ids, []string{"m-17", "m-18"}) {
			t.Errorf("asked for %s %v", kind, ids)
		}
		return []*pb.Record{{Record: &pb.Record_Person{Person: &pb.Person{
			Id: "m-17", FullName: "Ane H", Initials: "AH", Cards: []*pb.Card{{Id: "stage", Endorsement: "STAGE", IssuedDay: "2020-01-01"}, {Id: "full", Level: "FULL", IssuingBody: "a school"}},
		}}}}, nil
	}
	a, problems = read(t, o, "members.csv", text)
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	ane = a.File.Records[0].GetPerson()
	if ane.Initials != "AH" || len(ane.Cards) != 3 || ane.Cards[0].Id != "stage" || ane.Cards[1].IssuingBody != "a school" || ane.Cards[1].IssuedDay != "2025-06-02" {
		t.Error(prototext.Format(ane))
	}
}

// Every problem at once, each by row and column as a spreadsheet shows them.
func TestEveryProblemHasItsCell(t *testing.T) {
	t.Parallel()
	text := "Member no;First name;Name;Born;Card;Issued\n" +
		"M 17;Ane;Holm;31.02.1988;Full;02.06.25\n" + // no such day; a century that is not told
		"M-17;Per;Voss;03.04.1990;;\n" + // the same key as M 17
		"\n" +
		";Ola;Lund;03.04.1990;;\n" + // whose row?
		"M 20;Liv;Dahl;03.04;;\n" + // no year
		"M 21;Ada;Moe;1990-04-03;;02.06.2025;more\n" + // a card without its key; too many cells
		"M 22;Ada;Moe;15.06.2026;;\n" + // born tomorrow
		"M 22;Eva;Moe;;;\n" // contradicts the row above
	_, problems := read(t, options(mapping(t, members)), "members.csv", text)
	var told []string
	for _, p := range problems {
		told = append(told, p.String())
	}
	all := strings.Join(told, "\n")
	for _, want := range []string{
		"row 2, column D (Born)", "there is no such day",
		"row 2, column F (Issued)", "which century",
		"row 3, column A (Member no)", `becomes the key "m-17"`,
		"row 5, column A (Member no)",
		"row 6, column D (Born)", "the year is missing",
		"row 7: more cells than headings", "row 7, column E (Card)",
		"row 8, column D (Born)", "lies in the future",
		"row 9, column B (First name)", "says otherwise",
	} {
		if !strings.Contains(all, want) {
			t.Errorf("nothing says %q in\n%s", want, all)
		}
	}
}

// Dives with wall-clock times, one row for each diver. On 25 October 2026 the
// clocks of Oslo show 02:30 twice (dates handbook, T7).
func TestDivesByWallClock(t *testing.T) {
	t.Parallel()
	m := mapping(t, `kind: dive
fields:
  id: "log-{No}"
  site: hollowmere
  kind: normal
  zone: cave
  entered_at: "{Date} {In}"
  out_at: "{Date} {Out}"
  max_depth_m: "{Depth}"
  divers.person: "{Diver}"
dates: MDY
zone: Europe/Oslo
decimal: comma
`)
	a, problems := read(t, Options{Mapping: m, Zone: "UTC", Now: time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC), Existing: none}, "log.csv",
		"No,Date,In,Out,Depth,Diver\n7,6/14/2026,9:05,10:00,\"18,4\",ane\n7,6/14/2026,9:05,10:00,\"18,4\",per\n")
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	d := a.File.Records[0].GetDive()
	if len(a.File.Records) != 1 || len(d.Divers) != 2 || d.GetMaxDepthM() != 18.4 || d.EnteredAt.AsTime().Format(time.RFC3339) != "2026-06-14T07:05:00Z" {
		t.Error(prototext.Format(d))
	}
	_, problems = read(t, Options{Mapping: m, Zone: "UTC", Now: time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC), Existing: none}, "log.csv",
		"No,Date,In,Out,Depth,Diver\n7,10/25/2026,2:30,4:00,18,ane\n8,3/29/2026,2:30,4:00,18,ane\n")
	if s := problems.Error(); !strings.Contains(s, "shows that time twice") && !strings.Contains(s, "show that time twice") || !strings.Contains(s, "never show that time") {
		t.Error(s)
	}
}

// A mark of two digits is completed where one century fits, and shown.
func TestCompletedCenturyIsShown(t *testing.T) {
	t.Parallel()
	m := mapping(t, "kind: cylinder\nfields: {id: \"{No}\", service_events.id: \"{Test}\", service_events.kind: hydro, service_events.date: \"{Tested}\"}\ndates: MY\n")
	a, _ := read(t, options(m), "c.csv", "No,Test,Tested\nc1,t1,04/73\nc1,t2,05/24\n")
	if len(a.Echoes) != 2 || !strings.Contains(a.Echoes[1], `"05/24" is read as 2024-05`) || !strings.Contains(a.Echoes[0], "1973-04") {
		t.Error(a.Echoes)
	}
	events := a.File.Records[0].GetCylinder().ServiceEvents
	if len(events) != 2 || events[1].Date != "2024-05" || events[1].Kind != "hydro" {
		t.Error(events)
	}
}

// Practice 14.4: no cell begins as a formula does, and every text comes back.
func TestFormulasAreTexts(t *testing.T) {
	t.Parallel()
	texts := []string{"=1+1", "+4912", "-x", "@a", "'quoted", "''twice", "'=1", "plain", "a=b", "\tx", "line\nbreak, \"quoted\"", `semi;colon\`}
	var w Writer
	for i, s := range texts {
		w.Add(&pb.Record{Record: &pb.Record_Site{Site: &pb.Site{Id: "s" + string(rune('a'+i)), Title: s}}})
	}
	var b bytes.Buffer
	if err := w.Write(&b, "site.csv"); err != nil {
		t.Fatal(err)
	}
	cells, err := csv.NewReader(bytes.NewReader(b.Bytes())).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range cells {
		for _, c := range row {
			if c != "" && strings.ContainsRune("=+-@\t\r", rune(c[0])) {
				t.Errorf("a spreadsheet would run %q", c)
			}
		}
	}
	a, _ := read(t, options(nil), "site.csv", b.String())
	for i, s := range texts {
		if got := a.File.Records[i].GetSite().Title; got != strings.TrimSpace(s) {
			t.Errorf("%q came back as %q", s, got)
		}
	}
}

func TestMappingIsChecked(t *testing.T) {
	t.Parallel()
	_, err := ReadMapping(recordfile.Source{Name: "map.yaml", Data: []byte("kind: person\nfields: {name: \"{N}\", version: \"{V}\", cards: \"{C}\"}\ndates: DDMM\nseparator: \"|\"\ndecimal: dot\nencoding: ebcdic\n")})
	for _, want := range []string{
		"map.yaml:2:10: fields name: a person has no field \"name\"", "map.yaml:2:23: fields version: version is written by the server", "map.yaml:2:39: fields cards: cards is a block",
		"map.yaml:3:1: dates\n", "map.yaml:4:1: separator\n", "map.yaml:5:1: decimal\n", "map.yaml:6:1: encoding\n", "7 problems",
	} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("nothing says %q in %v", want, err)
		}
	}
	if _, err := ReadMapping(recordfile.Source{Name: "map.yaml", Data: []byte("kind: person\nfeilds: {}\n")}); err == nil || !strings.Contains(err.Error(), "feilds") {
		t.Error(err)
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte("id,full_name,cards.id\na,b,c\n"))
	f.Add([]byte("id;x\n\"a\n\nb\";c\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 1<<14 {
			t.Skip()
		}
		for _, name := range []string{"person.csv", "survey.legs.depth_points.csv"} {
			if _, _, err := Read([]recordfile.Source{{Name: name, Data: data}}, options(nil)); err != nil {
				t.Fatal(err)
			}
		}
	})
}

// What people get wrong in a mapping is told at once, with its line; a misspelt part is read as what was meant.
func TestMistakesInAMapping(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"kind: persn\nfields: {id: \"{No}\"}\nseperator: \"|\"\n": "map.yaml:1:1: kind: no kind of record\n    read:     persn\n    expected: perhaps person; one of site, survey, reading, permit, person, cylinder, cylinder_set, equipment, fill, analysis, policy, expedition, plan, dive, incident, role, custody_event\n" +
			"map.yaml:3:1: separator\n    read:     |\n    expected: \",\", \";\" or a tab (\"\\t\")\n" +
			"map.yaml:3:1: seperator: no part of a mapping\n    read:     seperator\n    expected: perhaps separator; one of kind, fields, keys, words, dates, zone, decimal, separator, encoding\n3 problems; nothing was stored",
		"kind: person\nfields:\n  id: \"{No}\"\n  birthday: \"{Born}\"\nkeys: id\nkeys: [id]\n": "map.yaml:4:3: fields birthday: a person has no field \"birthday\"\n    read:     birthday\n    expected: perhaps birth_day; one of id, full_name, short_name, initials, guest, birth_day, cards, consumption, worst_consumption, medical, emergency_contacts, telephone, guardian, guardian_consent_to, unavailable, arrivals, reassessments\n" +
			"map.yaml:5:1: keys\n    read:     id\n    expected: a list of paths, [id, owner]\n" +
			"map.yaml:6:1: keys: written twice, first in line 5\n    read:     keys\n    expected: each part once\n3 problems; nothing was stored",
		"kind: person\n\tfields: x\n": "map.yaml:2:1: not YAML: a tab in front of a line\n    read:     fields: x\n    expected: blanks alone: YAML takes no tabs there\n1 problem; nothing was stored",
	} {
		_, err := ReadMapping(recordfile.Source{Name: "map.yaml", Data: []byte(text)})
		if err == nil || err.Error() != want {
			t.Errorf("%q: got\n%v\nwant\n%s", text, err, want)
		}
	}
}

// A sheet as a spreadsheet saves it where numbers have a decimal comma, with a byte order mark; days that it counts from 1900; a
// workbook in the place of a sheet; headings that are misspelt: what is wrong is told in one round, and hides no wrong cell.
func TestHonestMistakesInASheet(t *testing.T) {
	t.Parallel()
	club := mapping(t, "kind: person\nfields: {id: \"{No}\", full_name: \"{Name}\", birth_day: \"{Born}\"}\ndates: DMY\n")
	commas := *club
	commas.Separator = ","
	for _, c := range []struct {
		what string
		m    *Mapping
		name string
		text string
		want string
	}{
		{"semicolons and a mark", nil, "person.csv", "\ufeffid;full_name;birth_day\nbo;Bo Lind;1980-12-31\n", ""},
		{"a comma in a heading", &Mapping{Kind: "person", Fields: map[string]string{"id": "{No}", "full_name": "{Name, first and last}", "birth_day": "{Born}"}, Dates: "DMY"}, "x.csv", "No;Name, first and last;Born\nbo;Bo Lind;31.12.1980\n", ""},
		{"tabs, as the headings show", club, "x.csv", "No\tName\tBorn\nbo\tBo Lind\t31.12.1980\n", ""},
		{
			"separated otherwise than the mapping says", &commas, "x.csv", "No;Name;Born\nbo;Bo Lind;31.12.1980\n",
			"x.csv: row 1: the cells are not separated as the mapping says (separator: \",\")\n    read:     No;Name;Born\n    expected: a row of headings\n1 problem; nothing was stored",
		},
		{
			"days of a spreadsheet", club, "x.csv", "No;Name;Born\nbo;;29221\n",
			"x.csv: row 2, column B (Name): records[0].person.full_name\n    read:     nothing\n    expected: text of 1 to 120 letters\n" +
				"x.csv: row 2, column C (Born): records[0].person.birth_day: a spreadsheet's own number of a day: give the column the form of a date, YYYY-MM-DD, and save it again\n    read:     29221\n    expected: a day, YYYY-MM-DD, or as the mapping says, DMY\n2 problems; nothing was stored",
		},
		{
			"a workbook", nil, "person.xlsx", "PK\x03\x04\x00\xff",
			"person.xlsx: is no CSV file\n    read:     a workbook (xlsx, ods)\n    expected: CSV: in the spreadsheet, save it as CSV (UTF-8)\n1 problem; nothing was stored",
		},
		{
			"misspelt headings and a wrong cell", nil, "person.csv", "id,fullname,birth_day,colour\nbo,Bo Lind,31.12.1980,red\nca,,,\n",
			"person.csv: row 1, column B (fullname): a person has no field \"fullname\"\n    read:     fullname\n    expected: perhaps full_name; one of id, full_name, short_name, initials, guest, birth_day, cards, consumption, worst_consumption, medical, emergency_contacts, telephone, guardian, guardian_consent_to, unavailable, arrivals, reassessments\n" +
				"person.csv: row 1, column D (colour): a person has no field \"colour\"\n    read:     colour\n    expected: one of id, full_name, short_name, initials, guest, birth_day, cards, consumption, worst_consumption, medical, emergency_contacts, telephone, guardian, guardian_consent_to, unavailable, arrivals, reassessments\n" +
				"person.csv: row 2, column C (birth_day): records[0].person.birth_day: not an ISO date, and the mapping declares no other form that fits (dates: DMY …)\n    read:     31.12.1980\n    expected: a day, YYYY-MM-DD\n" +
				"person.csv: row 3, column B (fullname): records[1].person.full_name\n    read:     nothing\n    expected: text of 1 to 120 letters\n4 problems; nothing was stored",
		},
		{
			"a heading that the mapping names is missing", club, "x.csv", "No,Names,Born\nbo,Bo Lind,31.02.1980\n",
			"x.csv: row 1: no column has this heading, which the mapping takes for full_name\n    read:     Name\n    expected: perhaps Names; one of No, Names, Born\n" +
				"x.csv: row 2, column C (Born): records[0].person.birth_day: there is no such day\n    read:     31.02.1980\n    expected: a day, YYYY-MM-DD, or as the mapping says, DMY\n2 problems; nothing was stored",
		},
	} {
		_, problems := read(t, options(c.m), c.name, c.text)
		if got := problems.Error(); len(problems) > 0 && got != c.want || len(problems) == 0 && c.want != "" {
			t.Errorf("%s: got\n%s\nwant\n%s", c.what, got, c.want)
		}
	}
}
