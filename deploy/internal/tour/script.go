// Package tour reads and plays a script of commands: what the quickstart shows, and what the documents promise.
//
// A script is plain text, one instruction a line:
//
//	# Words           a heading
//	> Words           words printed as they are
//	// Words          a note to whoever edits the script; not printed
//	@name             the commands that follow are this person's
//	$ lastlight …     runs a command, which must exit with 0
//	$[1] lastlight …  runs a command, which must exit with 1
//	keep NAME RE      keeps the first group of a regular expression in what the last command printed, as {NAME}
//
// A command is split into words at blanks; single and double quotes keep blanks. There is no shell: no variables, no globs, no
// pipes. In commands and printed words, {NAME} is replaced by a kept value or one of these:
//
//	{today} {today+3} {today-400}   a date in UTC, days away
//	{month} {month-18}              a month in UTC, months away
//	{now} {now+90m} {now-2h}        a minute in UTC, RFC 3339
//	{zone}                          an IANA time zone in which it is about noon now, on the same date as in UTC
package tour

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Kind tells instructions apart.
type Kind int

// The kinds of instruction.
const (
	Heading Kind = iota + 1
	Words
	Person
	Command
	Keep
)

// Step is one instruction of a script.
type Step struct {
	Line    int
	Kind    Kind
	Text    string   // heading, words, person's name, name to keep
	Argv    []string // of a command
	Exit    int      // that a command must end with
	Pattern *regexp.Regexp
}

var personName = regexp.MustCompile(`^[a-z][a-z0-9-]*$`)

// Parse reads a script, in which only the named programs may be run. It tells every problem at once.
func Parse(text string, programs ...string) ([]Step, error) {
	var steps []Step
	var problems []error
	commands := 0
	for i, line := range strings.Split(text, "\n") {
		line = strings.TrimSpace(line)
		if line == "" || strings.HasPrefix(line, "//") {
			continue
		}
		step, err := parseLine(line, programs)
		if err == nil && step.Kind == Keep && commands == 0 {
			err = errors.New("keep stands before any command")
		}
		if err != nil {
			problems = append(problems, fmt.Errorf("line %d: %w", i+1, err))
			continue
		}
		if step.Kind == Command {
			commands++
		}
		step.Line = i + 1
		steps = append(steps, step)
	}
	return steps, errors.Join(problems...)
}

func parseLine(line string, programs []string) (Step, error) {
	if words, ok := strings.CutPrefix(line, "#"); ok {
		return Step{Kind: Heading, Text: strings.TrimSpace(words)}, nil
	}
	if words, ok := strings.CutPrefix(line, ">"); ok {
		return Step{Kind: Words, Text: strings.TrimSpace(words)}, nil
	}
	if name, ok := strings.CutPrefix(line, "@"); ok {
		if !personName.MatchString(name) {
			return Step{}, fmt.Errorf("%q is no person's name: small letters, digits and hyphens", name)
		}
		return Step{Kind: Person, Text: name}, nil
	}
	if rest, ok := strings.CutPrefix(line, "$"); ok {
		return parseCommand(rest, programs)
	}
	if rest, ok := strings.CutPrefix(line, "keep "); ok {
		name, expression, _ := strings.Cut(strings.TrimSpace(rest), " ")
		pattern, err := regexp.Compile(strings.TrimSpace(expression))
		switch {
		case err != nil:
			return Step{}, err
		case !personName.MatchString(name):
			return Step{}, fmt.Errorf("%q cannot be kept under: small letters, digits and hyphens", name)
		case pattern.NumSubexp() != 1:
			return Step{}, fmt.Errorf("keep needs an expression with one group, and %q has %d", expression, pattern.NumSubexp())
		}
		return Step{Kind: Keep, Text: name, Pattern: pattern}, nil
	}
	return Step{}, fmt.Errorf("not an instruction: %q", line)
}

func parseCommand(rest string, programs []string) (Step, error) {
	step := Step{Kind: Command}
	if bracket, ok := strings.CutPrefix(rest, "["); ok {
		number, after, ok := strings.Cut(bracket, "]")
		exit, err := strconv.ParseUint(number, 10, 8)
		if !ok || err != nil {
			return Step{}, fmt.Errorf("%q: an exit code in brackets is expected, like $[1]", rest)
		}
		step.Exit, rest = int(exit), after
	}
	argv, err := Split(rest)
	if err != nil {
		return Step{}, err
	}
	if len(argv) == 0 || !slices.Contains(programs, argv[0]) {
		return Step{}, fmt.Errorf("%q: a command begins with one of %s", strings.TrimSpace(rest), strings.Join(programs, ", "))
	}
	step.Argv = argv
	return step, nil
}

// Split cuts a command line into words at blanks; quotes of either kind keep blanks and the other kind.
func Split(line string) ([]string, error) {
	var words []string
	var word strings.Builder
	open, inWord := rune(0), false
	for _, r := range line {
		switch {
		case open != 0 && r == open:
			open = 0
		case open == 0 && (r == '\'' || r == '"'):
			open, inWord = r, true
		case open == 0 && (r == ' ' || r == '\t'):
			if inWord {
				words = append(words, word.String())
				word.Reset()
			}
			inWord = false
		default:
			word.WriteRune(r)
			inWord = true
		}
	}
	if open != 0 {
		return nil, fmt.Errorf("%q: the quote %c is not closed", strings.TrimSpace(line), open)
	}
	if inWord {
		words = append(words, word.String())
	}
	return words, nil
}

// quote writes words so that Split, and a shell, read the same words.
func quote(argv []string) string {
	out := make([]string, len(argv))
	for i, w := range argv {
		switch {
		case w != "" && !strings.ContainsAny(w, " \t\"'$&|;<>()*?[]{}~#`\\"):
			out[i] = w
		case !strings.Contains(w, "'"):
			out[i] = "'" + w + "'"
		default:
			out[i] = `"` + w + `"`
		}
	}
	return strings.Join(out, " ")
}

var placeholder = regexp.MustCompile(`\{([a-z][a-z0-9-]*?)(?:([+-])(\d+)([dhm]?))?\}`)

// NoonZone names a time zone of a fixed offset in which now is between 12:00 and 13:00 on the date that it is in UTC: what a demo
// does in the next hours then happens on one day, whenever it is played.
func NoonZone(now time.Time) string {
	switch east := 12 - now.UTC().Hour(); {
	case east > 0:
		return fmt.Sprintf("Etc/GMT-%d", east) // the names count west of Greenwich
	case east < 0:
		return fmt.Sprintf("Etc/GMT+%d", -east)
	}
	return "Etc/GMT"
}

// Values replaces placeholders.
type Values struct {
	Now  time.Time
	Kept map[string]string
}

// Expand replaces every placeholder in the text. One that means nothing is an error.
func (v Values) Expand(text string) (string, error) {
	var problems []error
	out := placeholder.ReplaceAllStringFunc(text, func(found string) string {
		value, err := v.value(placeholder.FindStringSubmatch(found))
		if err != nil {
			problems = append(problems, err)
		}
		return value
	})
	return out, errors.Join(problems...)
}

func (v Values) value(part []string) (string, error) {
	all, name, sign, amount, unit := part[0], part[1], part[2], part[3], part[4]
	n := 0
	if amount != "" {
		var err error
		if n, err = strconv.Atoi(sign + amount); err != nil {
			return "", fmt.Errorf("%s: %w", all, err)
		}
	}
	switch {
	case name == "today" && (unit == "" || unit == "d"):
		return v.Now.UTC().AddDate(0, 0, n).Format(time.DateOnly), nil
	case name == "month" && unit == "":
		first := time.Date(v.Now.UTC().Year(), v.Now.UTC().Month(), 1, 0, 0, 0, 0, time.UTC) // no day that a month may lack
		return first.AddDate(0, n, 0).Format("2006-01"), nil
	case name == "zone" && amount == "":
		return NoonZone(v.Now), nil
	case name == "now" && amount == "":
		return v.Now.UTC().Truncate(time.Minute).Format(time.RFC3339), nil
	case name == "now" && (unit == "h" || unit == "m"):
		by := time.Duration(n) * time.Minute
		if unit == "h" {
			by = time.Duration(n) * time.Hour
		}
		return v.Now.UTC().Add(by).Truncate(time.Minute).Format(time.RFC3339), nil
	}
	if kept, ok := v.Kept[all[1:len(all)-1]]; ok {
		return kept, nil
	}
	return "", fmt.Errorf("%s: nothing is known by that name", all)
}

var datePlaceholder = regexp.MustCompile(`\{(today|month|now|zone)(?:([+-])(\d+)([dhm]?))?\}`)

// ExpandDates replaces the placeholders for dates and times alone, for files that use braces for other things.
func (v Values) ExpandDates(text string) (string, error) {
	var problems []error
	out := datePlaceholder.ReplaceAllStringFunc(text, func(found string) string {
		value, err := v.value(datePlaceholder.FindStringSubmatch(found))
		if err != nil {
			problems = append(problems, err)
		}
		return value
	})
	return out, errors.Join(problems...)
}
