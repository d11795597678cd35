package sheet

import "strings"

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
