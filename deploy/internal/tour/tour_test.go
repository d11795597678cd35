package tour

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // a machine may have no zones of its own
)

// asProgram makes this test binary print its words and its person, and exit with the number in its last word if there is one.
const asProgram = "LASTLIGHT_TEST_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		fmt.Printf("%s: %s\n", os.Getenv("PERSON"), strings.Join(os.Args[1:], "|"))
		exit := 0
		if _, err := fmt.Sscanf(os.Args[len(os.Args)-1], "exit=%d", &exit); err != nil {
			exit = 0
		}
		os.Exit(exit)
	}
	os.Exit(m.Run())
}

func play(t *testing.T, script string) (string, error) {
	t.Helper()
	steps, err := Parse(script, "lastlight")
	if err != nil {
		t.Fatal(err)
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	p := Player{
		Out:      &out,
		Values:   Values{Now: time.Date(2031, 2, 28, 23, 59, 31, 0, time.UTC)},
		Programs: map[string]string{"lastlight": filepath.Clean(self)},
		Dir:      t.TempDir(),
		Env:      []string{asProgram + "=1"},
		Person:   func(name string) []string { return []string{"PERSON=" + name} },
	}
	err = p.Play(t.Context(), steps)
	return out.String(), err
}

func TestPlay(t *testing.T) {
	t.Parallel()
	got, err := play(t, `
		# First light
		> It is {today}.
		// not shown
		$ lastlight site list
		@mara
		$[3] lastlight plan show 'the long one' {today+1} exit=3
		keep when (\d{4}-\d\d-\d\d)
		# Then
		$ lastlight say {when} {now+90m} {now-1h} {today-365d}
	`)
	if err != nil {
		t.Fatal(err)
	}
	want := `First light
===========
It is 2031-02-28.

$ lastlight site list
: site|list

mara$ lastlight plan show 'the long one' 2031-03-01 exit=3
mara: plan|show|the long one|2031-03-01|exit=3

Then
====

mara$ lastlight say 2031-03-01 2031-03-01T01:29:00Z 2031-02-28T22:59:00Z 2030-02-28
mara: say|2031-03-01|2031-03-01T01:29:00Z|2031-02-28T22:59:00Z|2030-02-28
`
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

func TestStopsAtTheUnexpected(t *testing.T) {
	t.Parallel()
	for script, want := range map[string]string{
		"$ lastlight a exit=1\n$ lastlight never":    "line 1: lastlight a exit=1: exit code 1, expected 0",
		"$[1] lastlight a\n$ lastlight never":        "line 1: lastlight a: exit code 0, expected 1",
		"$ lastlight a\n$ lastlight never {no-name}": "line 2: {no-name}: nothing is known by that name",
		"$ lastlight a\nkeep x (b+)":                 "line 2: the last command did not print (b+)",
	} {
		out, err := play(t, script)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, not %q", script, err, want)
		}
		if strings.Contains(out, "never|") || strings.Contains(out, ": never") {
			t.Errorf("%q went on: %s", script, out)
		}
	}
}

func TestParseTellsEveryProblem(t *testing.T) {
	t.Parallel()
	_, err := Parse(strings.Join([]string{
		"keep a (b)",
		"@Mara",
		"$ rm -rf /",
		"$[x] lastlight",
		"$[256] lastlight",
		"$ lastlight 'open",
		"lastlight without dollar",
		"$ lastlight fine",
		"keep a b",
		"keep a (",
	}, "\n"), "lastlight")
	if err == nil {
		t.Fatal("accepted")
	}
	for _, line := range []int{1, 2, 3, 4, 5, 6, 7, 9, 10} {
		if !strings.Contains(err.Error(), fmt.Sprintf("line %d: ", line)) {
			t.Errorf("line %d passed", line)
		}
	}
	if strings.Contains(err.Error(), "line 8: ") {
		t.Errorf("line 8 was refused: %v", err)
	}
}

func TestSplitAndQuoteAgree(t *testing.T) {
	t.Parallel()
	for _, words := range [][]string{{"a"}, {"a b", "c"}, {""}, {"it's"}, {`say "so"`, "$x", "*"}, {"tab\there"}} {
		back, err := Split(quote(words))
		if err != nil || !slices.Equal(back, words) {
			t.Errorf("%q became %s, read as %q, %v", words, quote(words), back, err)
		}
	}
}

func TestExpandDatesLeavesBraces(t *testing.T) {
	t.Parallel()
	v := Values{Now: time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)}
	got, err := v.ExpandDates("a: {b: {today-1}, c: {x}, d: {month-14}, e: {month}, f: {zone}}")
	if want := "a: {b: 2031-02-28, c: {x}, d: 2030-01, e: 2031-03, f: Etc/GMT-12}"; err != nil || got != want {
		t.Errorf("%q, %v; want %q", got, err, want)
	}
}

func TestNoonZone(t *testing.T) {
	t.Parallel()
	for hour := range 24 {
		now := time.Date(2031, 3, 1, hour, 59, 59, 0, time.UTC)
		zone, err := time.LoadLocation(NoonZone(now))
		if err != nil {
			t.Fatal(err)
		}
		if there := now.In(zone).Format("2006-01-02 15:04"); there != "2031-03-01 12:59" {
			t.Errorf("at %v it is %s in %s", now, there, zone)
		}
	}
}
