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
