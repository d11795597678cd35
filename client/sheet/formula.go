package sheet

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"
)

// A cell that begins with one of these is a formula to a spreadsheet, whoever wrote it.
const formulaStarts = "=+-@\t\r"

// safe writes text so that no spreadsheet runs it: an apostrophe in front of
// what would be a formula (practice 14.4). Plain undoes it exactly.
func safe(text string) string {
	if text != "" && strings.ContainsRune(formulaStarts+"'", rune(text[0])) {
		return "'" + text
	}
	return text
}

// plain takes the apostrophe of safe off again. One that stands before an
// ordinary letter is the writer's own.
func plain(cell string) string {
	if len(cell) > 1 && cell[0] == '\'' && strings.ContainsRune(formulaStarts+"'", rune(cell[1])) {
		return cell[1:]
	}
	return cell
}

// Table writes rows, headings first, as RFC 4180 has it and so that no cell is a formula.
func Table(to io.Writer, rows [][]string) error {
	out := csv.NewWriter(to)
	out.UseCRLF = true
	for _, row := range rows {
		cells := make([]string, len(row))
		for i, text := range row {
			if cells[i] = safe(text); number(text) {
				cells[i] = text // a number with its sign is no formula
			}
		}
		if err := out.Write(cells); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func number(text string) bool {
	_, err := strconv.Atoi(text)
	return err == nil
}
