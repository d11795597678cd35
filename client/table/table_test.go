package table

import (
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"
)

func TestPageAndTabs(t *testing.T) {
	t.Parallel()
	x := Table{
		Columns: []Column{{Title: "id"}, {Title: "size", Right: true}, {Title: "made by", Wraps: true}},
		Rows:    [][]string{{"c-1", "12 L", "Borealis"}, {"c-12", "7 L", "the cylinder works of a town with quite a long name beside the long river, east"}},
	}
	var page, tabs bytes.Buffer
	if err := x.Page(&page); err != nil {
		t.Fatal(err)
	}
	const want = `ID    SIZE  MADE BY
c-1   12 L  Borealis
c-12   7 L  the cylinder works of a town with quite a long name beside the long
            river, east
`
	if page.String() != want {
		t.Errorf("%s", page.String())
	}
	x.Rows[0][2] = "two\tcells\nno"
	if err := x.Tabs(&tabs); err != nil {
		t.Fatal(err)
	}
	if got := tabs.String(); !strings.HasPrefix(got, "id\tsize\tmade_by\nc-1\t12 L\ttwo cells no\n") {
		t.Errorf("%q", got)
	}
}

// TestTooWide: rows that do not fit beside each other are blocks, nothing is cut.
func TestTooWide(t *testing.T) {
	t.Parallel()
	long := strings.Repeat("x", 50)
	x := Table{Columns: []Column{{Title: "a"}, {Title: "b"}}, Rows: [][]string{{long, long}, {long, ""}}}
	var out bytes.Buffer
	if err := x.Page(&out); err != nil {
		t.Fatal(err)
	}
	if strings.Count(out.String(), long) != 3 {
		t.Errorf("%s", out.String())
	}
}

func TestWrap(t *testing.T) {
	t.Parallel()
	for _, width := range []int{5, 20, 80} {
		for _, line := range Wrap("ft³ und ein sehrlangeswortohnezwischenraum\n\nEnde", width) {
			if utf8.RuneCountInString(line) > width {
				t.Errorf("%d: %q", width, line)
			}
		}
	}
	if got := Clean("a\x1b[31mb\u009bc\nd\te"); got != "a[31mbc\nd\te" {
		t.Errorf("%q", got)
	}
}

// A hash of 64 letters and a finding's key are copied from the screen: they stay whole where a line can hold them.
func TestLabelledKeepsWordsWhole(t *testing.T) {
	t.Parallel()
	hash := strings.Repeat("0123456789abcdef", 4)
	for _, c := range []struct{ text, want string }{
		{hash, "    report\n      " + hash + "\n"},
		{
			"coordinator or committee; finding route.major_restriction_sharing/diver:P-2AB3CD>P-4EF5GH/short/",
			"    report\n      coordinator or committee; finding\n      route.major_restriction_sharing/diver:P-2AB3CD>P-4EF5GH/short/\n",
		},
		{
			"route.major_restriction_sharing/diver:P-2AB3CD>P-4EF5GH/short/plan.moves[3]",
			"    report\n      route.major_restriction_sharing/diver:P-2AB3CD>P-4EF5GH/short/plan.\n      moves[3]\n",
		},
		{"short", "    report            short\n"},
	} {
		var out bytes.Buffer
		if err := Labelled(&out, 4, "report", c.text); err != nil {
			t.Fatal(err)
		}
		if out.String() != c.want {
			t.Errorf("%q", out.String())
		}
	}
	long := strings.Repeat("plan.route.moves[3]/", 8)
	for _, line := range Wrap(long, 70) {
		if !strings.HasSuffix(line, "/") && !strings.HasSuffix(line, ".") || utf8.RuneCountInString(line) > 70 {
			t.Errorf("not cut at a joint: %q", line)
		}
	}
}
