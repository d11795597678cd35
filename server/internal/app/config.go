// Package app puts the server together: its configuration, its clock, its parts from top to bottom, its start and its end, and
// the commands of the program lastlightd.
package app

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"text/tabwriter"
	"time"

	"lastlight/server/internal/post"

	"go.yaml.in/yaml/v3"
)

// Config is what the server is told by its file and its environment.
type Config struct {
	DatabaseURL string
	Listen      string
	TLSCert     string
	TLSKey      string

	Club     string
	TimeZone string

	PoolConnections  int
	CallsAtOnce      int
	CallsWaiting     int
	LongestCall      time.Duration
	StatementTimeout time.Duration
	StopWithin       time.Duration
	MigrateWithin    time.Duration
	LogLevel         string

	Mail      post.Config
	MailPause time.Duration
}

const (
	envPrefix = "LASTLIGHT_"
	// configVariable names the file to read.
	configVariable = envPrefix + "CONFIG"
)

// source is where the values come from; a test brings its own.
type source struct {
	lookup func(name string) (string, bool)
	read   func(path string) ([]byte, error)
}

// fromMachine reads the environment and the file system.
func fromMachine() source { return source{os.LookupEnv, os.ReadFile} }

// load reads the file, if one is named, then the environment, which has the last word. needed are keys without which the command
// cannot work. The error names everything that is wrong, with where it stands.
func load(from source, file string, needed ...string) (Config, error) {
	var c Config
	var problems []error
	given := map[string]value{}
	if file == "" {
		file, _ = from.lookup(configVariable)
	}
	if file != "" {
		values, err := readFile(from, file)
		problems = append(problems, err)
		for key, v := range values {
			given[key] = v
		}
	}
	for _, s := range settings {
		if text, ok := from.lookup(s.variable()); ok && text != "" {
			given[s.key] = value{text, s.variable()}
		}
		v, ok := given[s.key]
		if !ok {
			v = value{s.standard, "the default of " + s.key}
		}
		if v.text == "" {
			for _, key := range needed {
				if key == s.key {
					problems = append(problems, fmt.Errorf("%s is not set: %s (%s in the file, %s in the environment)", s.key, s.expected, s.key, s.variable()))
				}
			}
			continue
		}
		if err := s.set(&c, v.text); err != nil {
			read := fmt.Sprintf("%q", v.text)
			if s.secret {
				read = "what is written there"
			}
			problems = append(problems, fmt.Errorf("%s: read %s, expected: %s", v.place, read, s.expected))
		}
	}
	if c.StatementTimeout > 0 && c.LongestCall > 0 && c.StatementTimeout >= c.LongestCall {
		problems = append(problems, fmt.Errorf("statement_timeout (%s) must be shorter than longest_call (%s): a statement must end before its call", c.StatementTimeout, c.LongestCall))
	}
	if err := errors.Join(problems...); err != nil {
		return Config{}, fmt.Errorf("configuration:\n%w", err)
	}
	return c, nil
}

// value is a setting as it was written, and where.
type value struct{ text, place string }

// readFile reads a flat YAML file: key: value.
func readFile(from source, file string) (map[string]value, error) {
	text, err := from.read(file)
	if err != nil {
		return nil, fmt.Errorf("configuration file: %w", err)
	}
	var document yaml.Node
	if err := yaml.Unmarshal(text, &document); err != nil {
		// yaml's message may quote the line, which may hold a password.
		return nil, fmt.Errorf("%s: not a YAML file", file)
	}
	if document.Kind == 0 {
		return nil, nil
	}
	root := document.Content[0]
	if root.Kind != yaml.MappingNode {
		return nil, fmt.Errorf("%s: lines of the form key: value are expected", file)
	}
	var problems []error
	values := map[string]value{}
	for i := 0; i+1 < len(root.Content); i += 2 {
		key, v := root.Content[i], root.Content[i+1]
		place := fmt.Sprintf("%s:%d: %s", file, key.Line, key.Value)
		_, twice := values[key.Value]
		switch {
		case !known(key.Value):
			problems = append(problems, fmt.Errorf("%s: no such setting; known are %s", place, strings.Join(keys(), ", ")))
		case twice:
			problems = append(problems, fmt.Errorf("%s: stands there twice", place))
		case v.Kind != yaml.ScalarNode:
			problems = append(problems, fmt.Errorf("%s: one value is expected", place))
		default:
			values[key.Value] = value{v.Value, place}
		}
	}
	return values, errors.Join(problems...)
}

// Print writes the configuration as a file it could have come from, without secrets.
func (c Config) Print(w io.Writer) error {
	t := tabwriter.NewWriter(w, 0, 0, 1, ' ', 0)
	for _, s := range settings {
		text, err := yaml.Marshal(s.show(c))
		if err != nil {
			return err
		}
		fmt.Fprintf(t, "%s:\t%s\t# %s; %s\n", s.key, strings.TrimSpace(string(text)), s.expected, s.variable())
	}
	return t.Flush()
}
