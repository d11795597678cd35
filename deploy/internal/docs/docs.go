// Package docs reads the documents of this repository for what they promise: commands, paths and links.
package docs

import (
	"regexp"
	"strings"
)

// Command is a command line in a document.
type Command struct {
	Line int
	Text string
	// Named tells that it stands within a sentence, where it may leave out arguments.
	Named bool
}

// Link is what a document points at, relative to the document (links) or to the repository (paths in code).
type Link struct {
	Line   int
	Target string
	Path   bool // a path in code
}

// programs are the first words that make a line of code a command.
var programs = regexp.MustCompile(`^(\./deploy/|lastlightd?(\s|$)|go\s|git\s|sudo\s|apt-get\s|pg_|psql\s|createdb\s)`)

// rooms are the top-level directories: code that begins with one is a path.
var rooms = regexp.MustCompile(`^(\./)?(\.ci|client|deploy|engine|migrations|proto|server|testdata)/[A-Za-z0-9_./-]*$`)

var (
	span = regexp.MustCompile("`([^`]+)`")
	link = regexp.MustCompile(`\]\(([^)\s]+)\)`)
)

// Read finds the commands and links of a Markdown text. Commands are lines of code blocks, indented or fenced, and code within
// lines, when they begin with a program; a comment after # is cut off.
func Read(text string) (commands []Command, links []Link) {
	fenced, paragraph := false, false
	for i, line := range strings.Split(text, "\n") {
		if strings.HasPrefix(strings.TrimSpace(line), "```") {
			fenced = !fenced
			continue
		}
		// Indented by four is code, but not as the continuation of a paragraph or a list.
		if fenced || strings.HasPrefix(line, "    ") && !paragraph {
			code := strings.TrimPrefix(strings.TrimSpace(line), "$ ")
			if programs.MatchString(code) {
				commands = append(commands, Command{i + 1, withoutComment(code), false})
			}
			continue
		}
		paragraph = strings.TrimSpace(line) != ""
		for _, m := range span.FindAllStringSubmatch(line, -1) {
			switch code := m[1]; {
			case rooms.MatchString(code) && !strings.Contains(code, "NNNN"): // a number that is not given yet
				links = append(links, Link{i + 1, strings.TrimPrefix(code, "./"), true})
			case programs.MatchString(code) && strings.Contains(strings.TrimSpace(code), " "):
				commands = append(commands, Command{i + 1, withoutComment(code), true})
			}
		}
		for _, m := range link.FindAllStringSubmatch(span.ReplaceAllString(line, ""), -1) {
			links = append(links, Link{i + 1, m[1], false})
		}
	}
	return commands, links
}

func withoutComment(code string) string {
	code, _, _ = strings.Cut(code, " #")
	return strings.TrimSpace(code)
}

// Anchor is the name by which a heading is linked to.
func Anchor(heading string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(strings.TrimSpace(strings.TrimLeft(heading, "#"))) {
		switch {
		case r == ' ':
			b.WriteByte('-')
		case r == '-' || r == '_' || r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			b.WriteRune(r)
		}
	}
	return b.String()
}
