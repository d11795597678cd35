package recordfile

import (
	"bytes"
	"errors"
	"io"
	"regexp"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

var yamlLine = regexp.MustCompile(`^yaml: (?:line (\d+): )?(.*)$`)

// What the parser finds, and what a person has to do about it. The parser's own
// words name things of the grammar that nobody typed.
var syntax = []struct{ found, says, expected string }{
	{"found a tab character", tabs, blanks},
	{"did not find expected key", "this line does not stand under those above it", "the same number of blanks in front as the lines of the same block"},
	{"did not find expected '-' indicator", "this line does not stand under those above it", "the same number of blanks in front as the lines of the same block"},
	{"mapping values are not allowed", "a second colon, or a line that stands too far to the right", "a text that holds a colon and a blank between quotes; fields of a block one below the other"},
	{"could not find expected ':'", "a line without a colon", "the name of a field, a colon, a blank and its value"},
	{"did not find expected ',' or ']'", "a list that is begun with [ is not ended, or lacks a comma", "[one, two]"},
	{"did not find expected ',' or '}'", "a block that is begun with { is not ended, or lacks a comma", "{one: 1, two: 2}"},
	{"found unexpected end of stream", "a text that is begun with a quote is not ended", "the same quote at its end"},
	{"found unknown escape character", `a \ between double quotes`, "single quotes around it, which leave it as it is"},
	{"found character that cannot start any token", "a value that begins with a character that YAML keeps for itself", "the value between quotes"},
	{"control characters are not allowed", "a character that is no text", "a text file in UTF-8"},
	{"invalid", "not in UTF-8", "the file saved as UTF-8"},
	{"incomplete UTF-8", "not in UTF-8", "the file saved as UTF-8"},
}

const (
	tabs   = "a tab in front of a line"
	blanks = "blanks alone: YAML takes no tabs there"
)

// documents parses the YAML of a source. A text that is not YAML is one problem,
// and what stands before it is still read, less the last record, which may be
// cut short: whole is false then.
func documents(src Source) (docs []*yaml.Node, problems Problems, whole bool) {
	docs, err := parse(src.Data)
	if err == nil {
		return docs, nil, true
	}
	p := Problem{Place: Place{File: src.Name}, Message: "not YAML: " + strings.TrimPrefix(err.Error(), "yaml: ")}
	if m := yamlLine.FindStringSubmatch(err.Error()); m != nil {
		p.Line, _ = strconv.Atoi(m[1])
		p.Message = "not YAML: " + m[2]
	}
	lines := bytes.SplitAfter(src.Data, []byte("\n"))
	if len(src.Data) <= mostSearched {
		p.Line = faultyLine(lines)
		docs, _ = parse(bytes.Join(lines[:p.Line-1], nil))
		cutLast(docs)
	}
	text := ""
	if p.Line > 0 && p.Line <= len(lines) {
		text = strings.TrimRight(string(lines[p.Line-1]), "\r\n")
	}
	if at := strings.IndexByte(text, '\t'); at >= 0 && strings.TrimSpace(text[:at]) == "" {
		p.Column, p.Message, p.Expected = at+1, "not YAML: "+tabs, blanks
	} else {
		for _, s := range syntax {
			if strings.Contains(p.Message, s.found) {
				p.Message, p.Expected = "not YAML: "+s.says, s.expected
				break
			}
		}
	}
	if p.Expected != "" {
		p.Read = strings.TrimSpace(text)
	}
	return docs, Problems{p}, false
}

// Documents reads the YAML documents of a file of another form.
func Documents(src Source) ([]*yaml.Node, Problems) {
	docs, problems, _ := documents(src)
	return docs, problems
}

func parse(data []byte) ([]*yaml.Node, error) {
	dec := yaml.NewDecoder(bytes.NewReader(data))
	var docs []*yaml.Node
	for {
		var doc yaml.Node
		err := dec.Decode(&doc)
		if errors.Is(err, io.EOF) {
			return docs, nil
		}
		if err != nil {
			return docs, err
		}
		if doc.Kind == yaml.DocumentNode && len(doc.Content) == 1 && !null(doc.Content[0]) {
			docs = append(docs, doc.Content[0])
		}
	}
}

// Bounds of the search for the line of a fault: each step reads the file once.
const (
	mostSearched = 256 << 10
	lookAhead    = 30 // lines that a list or text of several lines is given to end
)

// faultyLine is the line from 1 at which a text stops being YAML: the parser
// tells the line on which the block around it began.
func faultyLine(lines [][]byte) int {
	good := func(n int) bool {
		_, err := parse(bytes.Join(lines[:n], nil))
		return err == nil
	}
	last, bad := 0, len(lines)
	for {
		for last+1 < bad {
			if middle := (last + bad) / 2; good(middle) {
				last = middle
			} else {
				bad = middle
			}
		}
		// A list that goes over lines is no YAML in its middle, and is again at its end.
		on := 0
		for n := last + 2; n <= min(last+lookAhead, len(lines)-1); n++ {
			if good(n) {
				on = n
				break
			}
		}
		if on == 0 {
			return last + 1
		}
		last, bad = on, len(lines)
	}
}

// cutLast takes the last record off what was read before a fault.
func cutLast(docs []*yaml.Node) {
	if len(docs) == 0 {
		return
	}
	if list := child(docs[len(docs)-1], "records"); list != nil && list.Kind == yaml.SequenceNode && len(list.Content) > 0 {
		list.Content = list.Content[:len(list.Content)-1]
	}
}
