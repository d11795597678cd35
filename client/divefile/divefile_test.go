package divefile

import (
	"bytes"
	"os"
	"reflect"
	"strings"
	"testing"
	"time"
)

// Example of the format's documentation as the practice notes, section 14.1,
// give it: 20 m after 180 s, out after an hour, 32 %, 200 to 135 bar.
func example(t testing.TB) string {
	t.Helper()
	text, err := os.ReadFile("testdata/example.xml")
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func TestReadExample(t *testing.T) {
	got, err := Read(strings.NewReader(example(t)))
	if err != nil {
		t.Fatal(err)
	}
	begin, end, litres, ean := 200.0, 135.0, 24.0, Mix{O2: 32}
	want := []Dive{{
		Started: time.Date(2026, 3, 1, 10, 20, 0, 0, time.UTC), Zoned: true,
		Samples: []Sample{{0, 0, ean, true}, {180, 20, ean, false}, {3600, 0, ean, false}},
		Tanks:   []Tank{{&ean, &begin, &end, &litres}},
	}}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("read\n%+v\nwant\n%+v", got, want)
	}
}

func TestRefused(t *testing.T) {
	whole := example(t)
	for _, c := range []struct{ name, text, says string }{
		{"document type", "<!DOCTYPE uddf [<!ENTITY a \"aaaa\">]>\n" + whole, "refused"},
		{"entity", strings.Replace(whole, ">A<", ">&a;<", 1), "entity"},
		{"other root", "<html/>", "not <uddf>"},
		{"empty", "", "no <uddf>"},
		{"cut off", whole[:len(whole)/2], "EOF"},
		{"deep", "<uddf>" + strings.Repeat("<a>", 40), "nested"},
		{"wide", "<uddf>" + strings.Repeat("<a/>", mostElements) + "</uddf>", "elements"},
		{"long text", "<uddf><a>" + strings.Repeat("x", mostText+1) + "</a></uddf>", "bytes in one element"},
		{"large", "<uddf><!--" + strings.Repeat("x", mostBytes) + "--></uddf>", "MiB"},
		{"waypoints", strings.Replace(whole, "<samples>", "<samples>"+strings.Repeat("<waypoint/>", mostSamples), 1), "waypoints in a dive"},
		{"no number", strings.Replace(whole, "<depth>20.0", "<depth>NaN", 1), "dive 1: waypoint 2: <depth>"},
		{"backward", strings.Replace(whole, "3600.0</divetime>", "170</divetime>", 1), "waypoint 3: <divetime> 170 s is not after 180 s"},
		{"feet for metres", strings.Replace(whole, "<depth>20.0", "<depth>650", 1), "no number from 0 to 400"},
		{"unknown gas", strings.Replace(whole, "switchmix ref=\"g1\"", "switchmix ref=\"g2\"", 1), "does not define"},
		{"two thirds oxygen twice", strings.Replace(whole, "<he>0.000", "<he>0.700", 1), "together at most 1"},
		{"no date", strings.Replace(whole, "2026-03-01T10:20:00Z", "yesterday", 1), "<datetime>"},
	} {
		_, err := Read(strings.NewReader(c.text))
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want %q", c.name, err, c.says)
		}
	}
}

// What is written reads back as it was, and names nobody and no place.
func TestWriteReadsBack(t *testing.T) {
	dives, err := Read(strings.NewReader(strings.Replace(example(t), "<waypoint><depth>0.0</depth><divetime>3600.0",
		"<waypoint><depth>6.25</depth><divetime>3000</divetime></waypoint><waypoint><depth>0.0</depth><divetime>3600.0", 1)))
	if err != nil {
		t.Fatal(err)
	}
	var text bytes.Buffer
	if err := Write(&text, dives[0], time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)); err != nil {
		t.Fatal(err)
	}
	for _, never := range []string{"<diver", "<divesite", "name>A<", "Site 1", "geography", "medical", "contact"} {
		if strings.Contains(text.String(), never) {
			t.Errorf("the file holds %q", never)
		}
	}
	back, err := Read(&text)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(back, dives) {
		t.Errorf("came back as\n%+v\nwas\n%+v", back, dives)
	}
}

// Nothing that comes as a file ends the program, and what is accepted is written and read again.
func FuzzRead(f *testing.F) {
	whole := example(f)
	f.Add(whole)
	f.Add(strings.Replace(whole, "<switchmix ref=\"g1\"/>", "", 1))
	f.Add("<!DOCTYPE a [<!ENTITY b \"c\">]><uddf>&b;</uddf>")
	f.Add("<uddf><profiledata><repetitiongroup><dive><tankdata><link/></tankdata><samples><switchmix/></samples></dive></repetitiongroup></profiledata></uddf>")
	f.Fuzz(func(t *testing.T, text string) {
		dives, err := Read(strings.NewReader(text))
		if err != nil {
			return
		}
		for _, d := range dives {
			var out bytes.Buffer
			if err := Write(&out, d, time.Unix(0, 0)); err != nil {
				t.Fatal(err)
			}
			for _, s := range d.Samples {
				if !(s.DepthM >= 0 && s.DepthM <= deepest && s.Second >= 0 && s.Second <= longest) {
					t.Fatalf("sample out of range: %+v", s)
				}
			}
		}
	})
}
