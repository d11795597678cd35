// Package table prints rows: columns for a terminal, tabs for a pipe.
//
// It is our own: what is asked is two forms of one list, 80 columns and no
// colour, in 150 lines; a library would bring frames, styles and its own idea
// of width.
package table

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// Width of a terminal page, in letters.
const Width = 80

// Column is a heading with how it gives way when a page is too narrow.
type Column struct {
	Title string
	// Wraps on to further lines; other columns are never cut.
	Wraps bool
	// Right-aligned, for numbers.
	Right bool
}

// Table is a list of rows, each as long as Columns.
type Table struct {
	Columns []Column
	Rows    [][]string
}

// Tabs writes one header row and tab-separated rows; tabs and line ends
// inside a cell become blanks.
func (t Table) Tabs(w io.Writer) error {
	head := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		head[i] = strings.ToLower(strings.ReplaceAll(c.Title, " ", "_"))
	}
	for _, row := range append([][]string{head}, t.Rows...) {
		clean := make([]string, len(row))
		for i, cell := range row {
			clean[i] = strings.NewReplacer("\t", " ", "\n", " ", "\r", " ").Replace(cell)
		}
		if _, err := fmt.Fprintln(w, strings.Join(clean, "\t")); err != nil {
			return err
		}
	}
	return nil
}

// Page writes aligned columns within Width. Columns that wrap share what the
// others leave; should not even that do, each row is written as a small block.
func (t Table) Page(w io.Writer) error {
	const gap, least = 2, 10
	widths := make([]int, len(t.Columns))
	fixed, wrapping := gap*(len(t.Columns)-1), 0
	for i, c := range t.Columns {
		widths[i] = utf8.RuneCountInString(c.Title)
		for _, row := range t.Rows {
			widths[i] = max(widths[i], utf8.RuneCountInString(row[i]))
		}
		if c.Wraps {
			wrapping++
		} else {
			fixed += widths[i]
		}
	}
	if room := Width - fixed; wrapping > 0 {
		for i, c := range t.Columns {
			if !c.Wraps {
				continue
			}
			widths[i] = min(widths[i], max(room/wrapping, least))
			room, wrapping = room-widths[i], wrapping-1
		}
	}
	total := gap * (len(t.Columns) - 1)
	for _, n := range widths {
		total += n
	}
	if total > Width {
		return t.blocks(w)
	}
	head := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		head[i] = strings.ToUpper(c.Title)
	}
	for _, row := range append([][]string{head}, t.Rows...) {
		if err := t.line(w, row, widths); err != nil {
			return err
		}
	}
	return nil
}

func (t Table) line(w io.Writer, row []string, widths []int) error {
	cells := make([][]string, len(row))
	height := 1
	for i, cell := range row {
		cells[i] = []string{cell}
		if t.Columns[i].Wraps {
			cells[i] = Wrap(cell, widths[i])
		}
		height = max(height, len(cells[i]))
	}
	for l := range height {
		var b strings.Builder
		for i := range row {
			text := ""
			if l < len(cells[i]) {
				text = cells[i][l]
			}
			pad := strings.Repeat(" ", max(0, widths[i]-utf8.RuneCountInString(text)))
			if t.Columns[i].Right {
				text = pad + text
			} else {
				text += pad
			}
			if i > 0 {
				b.WriteString("  ")
			}
			b.WriteString(text)
		}
		if _, err := fmt.Fprintln(w, strings.TrimRight(b.String(), " ")); err != nil {
			return err
		}
	}
	return nil
}

func (t Table) blocks(w io.Writer) error {
	for n, row := range t.Rows {
		if n > 0 {
			if _, err := fmt.Fprintln(w); err != nil {
				return err
			}
		}
		for i, cell := range row {
			if cell == "" {
				continue
			}
			if err := Labelled(w, 0, t.Columns[i].Title, cell); err != nil {
				return err
			}
		}
	}
	return nil
}

// Labelled writes "label  text", the text wrapped beside its label. Where one
// of its words, a hash or a key, has no room there, the text stands under the
// label instead: a word that is cut cannot be copied.
func Labelled(w io.Writer, indent int, label, text string) error {
	const column = 22
	first := strings.Repeat(" ", indent) + label
	at := max(column, utf8.RuneCountInString(first)+2)
	if longestWord(text) > max(Width-at, 20) {
		if _, err := fmt.Fprintln(w, first); err != nil {
			return err
		}
		first, at = "", indent+2
	}
	for i, line := range Wrap(text, max(Width-at, 20)) {
		if i > 0 {
			first = ""
		}
		if _, err := fmt.Fprintln(w, strings.TrimRight(first+strings.Repeat(" ", at-utf8.RuneCountInString(first))+line, " ")); err != nil {
			return err
		}
	}
	return nil
}

func longestWord(text string) int {
	n := 0
	for _, word := range strings.Fields(text) {
		n = max(n, utf8.RuneCountInString(word))
	}
	return n
}

// cutAt is how much of a word fits into width letters: up to a joint of a key
// or path where there is one in the second half, else all that fits.
func cutAt(word []rune, width int) int {
	for i := width; i > width/2; i-- {
		if strings.ContainsRune("/>:.", word[i-1]) {
			return i
		}
	}
	return width
}

// Wrap breaks text at blanks into lines of at most width letters; a longer
// word is cut, at a joint if it has one, rather than left to run over.
func Wrap(text string, width int) []string {
	var lines []string
	for _, paragraph := range strings.Split(text, "\n") {
		line := ""
		for _, word := range strings.Fields(paragraph) {
			for utf8.RuneCountInString(word) > width {
				if line != "" {
					lines, line = append(lines, line), ""
				}
				r := []rune(word)
				n := cutAt(r, width)
				lines, word = append(lines, string(r[:n])), string(r[n:])
			}
			switch {
			case line == "":
				line = word
			case utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) <= width:
				line += " " + word
			default:
				lines, line = append(lines, line), word
			}
		}
		lines = append(lines, line)
	}
	return lines
}

// Clean drops control characters from text that others entered, so that it
// cannot move the cursor or colour the screen of whoever reads it.
func Clean(s string) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' || r == '\t' {
			return r
		}
		if r < ' ' || (r >= 0x7f && r < 0xa0) || (r >= 0x202a && r <= 0x202e) || (r >= 0x2066 && r <= 0x2069) {
			return -1
		}
		return r
	}, s)
}
