// Package config reads the client's settings: built-in values, a profile in
// the settings file, the environment, flags; each wins over the one before.
package config

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"time"

	"go.yaml.in/yaml/v3"

	"lastlight/client/exit"
)

// DefaultProfile is used where neither flag, environment nor file names one.
const DefaultProfile = "club"

// DefaultTimeout is the deadline of a call.
const DefaultTimeout = 15 * time.Second

// Values are the settings of one source; empty means not set there.
type Values struct {
	Server    string `yaml:"server,omitempty"`
	CA        string `yaml:"ca,omitempty"`
	TokenFile string `yaml:"token_file,omitempty"`
	Units     string `yaml:"units,omitempty"`
}

// File is the settings file.
type File struct {
	Profile  string            `yaml:"profile,omitempty"`
	Profiles map[string]Values `yaml:"profiles,omitempty"`
}

// Settings are what a command works with. Sources tells for each where it is from.
type Settings struct {
	Profile string
	Values
	Sources map[string]string
	Path    string
}

var profileName = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,30}$`)

// Dir is the directory of the settings file and of token files.
func Dir(env func(string) string) (string, error) {
	if d := env("XDG_CONFIG_HOME"); filepath.IsAbs(d) {
		return filepath.Join(d, "lastlight"), nil
	}
	if home := env("HOME"); home != "" {
		return filepath.Join(home, ".config", "lastlight"), nil
	}
	return "", exit.Errorf(exit.Usage, "neither XDG_CONFIG_HOME nor HOME is set: nowhere to look for settings")
}

// ReadFile reads the settings file; one that is not there is empty.
func ReadFile(path string) (File, error) {
	var f File
	raw, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return f, nil
	}
	if err != nil {
		return f, exit.With(exit.Usage, err)
	}
	dec := yaml.NewDecoder(bytes.NewReader(raw))
	dec.KnownFields(true)
	if err := dec.Decode(&f); err != nil && !errors.Is(err, io.EOF) {
		return f, exit.Errorf(exit.Usage, "%s: %w", path, err)
	}
	return f, nil
}

// WriteFile replaces the settings file in one step.
func WriteFile(path string, f File) error {
	raw, err := yaml.Marshal(f)
	if err != nil {
		return err
	}
	return replace(path, raw)
}

// Load puts the settings together. flags holds what was given on the command line.
func Load(env func(string) string, profile string, flags Values) (Settings, error) {
	dir, err := Dir(env)
	if err != nil {
		return Settings{}, err
	}
	s := Settings{Sources: map[string]string{}, Path: filepath.Join(dir, "config.yaml")}
	f, err := ReadFile(s.Path)
	if err != nil {
		return Settings{}, err
	}

	s.Profile, s.Sources["profile"] = DefaultProfile, "built in"
	for _, c := range []struct{ value, source string }{
		{f.Profile, "file"}, {env("LASTLIGHT_PROFILE"), "LASTLIGHT_PROFILE"}, {profile, "--profile"},
	} {
		if c.value != "" {
			s.Profile, s.Sources["profile"] = c.value, c.source
		}
	}
	if !profileName.MatchString(s.Profile) {
		return Settings{}, exit.Errorf(exit.Usage, "profile %q (%s): small letters, digits and hyphens, at most 31", s.Profile, s.Sources["profile"])
	}

	p := f.Profiles[s.Profile]
	fields := []struct {
		name     string
		to       *string
		built    string
		file     string
		variable string
		flag     string
	}{
		{"server", &s.Server, "", p.Server, "LASTLIGHT_SERVER", flags.Server},
		{"ca", &s.CA, "", p.CA, "LASTLIGHT_CA", flags.CA},
		{"token_file", &s.TokenFile, filepath.Join(dir, s.Profile+".token"), p.TokenFile, "LASTLIGHT_TOKEN_FILE", flags.TokenFile},
		{"units", &s.Units, "metric", p.Units, "LASTLIGHT_UNITS", flags.Units},
	}
	for _, x := range fields {
		*x.to, s.Sources[x.name] = x.built, "built in"
		for _, c := range []struct{ value, source string }{
			{x.file, "profile " + s.Profile}, {env(x.variable), x.variable}, {x.flag, "flag"},
		} {
			if c.value != "" {
				*x.to, s.Sources[x.name] = c.value, c.source
			}
		}
		if *x.to == "" {
			s.Sources[x.name] = "not set"
		}
	}
	if s.Units != "metric" && s.Units != "imperial" {
		return Settings{}, exit.Errorf(exit.Usage, "units %q (%s): metric or imperial", s.Units, s.Sources["units"])
	}
	return s, nil
}

// Reachable says what is missing before a server can be called.
func (s Settings) Reachable() error {
	var missing []error
	if s.Server == "" {
		missing = append(missing, fmt.Errorf("no server is set: --server HOST:PORT, LASTLIGHT_SERVER, or `lastlight login --server HOST:PORT`"))
	}
	if s.CA == "" {
		missing = append(missing, fmt.Errorf("no club CA is set: --ca FILE, LASTLIGHT_CA, or `lastlight login --ca FILE`"))
	}
	if len(missing) > 0 {
		return exit.With(exit.Usage, errors.Join(missing...))
	}
	return nil
}
