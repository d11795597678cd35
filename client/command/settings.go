package command

import (
	"encoding/json"
	"fmt"
	"path/filepath"
	"runtime/debug"

	"github.com/spf13/cobra"

	"lastlight/client/config"
	"lastlight/client/exit"
	"lastlight/client/screen"
)

// Version is set by the build; without it the build's own record is used.
var Version string

func programVersion() string {
	if Version != "" {
		return Version
	}
	if b, ok := debug.ReadBuildInfo(); ok {
		for _, s := range b.Settings {
			if s.Key == "vcs.revision" && len(s.Value) >= 12 {
				return s.Value[:12]
			}
		}
	}
	return "development"
}

// pairs writes settings in the form asked for.
func (a *app) pairs(cmd *cobra.Command, pairs [][2]string) error {
	if form(a.as) != asJSON {
		return a.view(cmd.Context()).Fields(pairs)
	}
	m := map[string]string{}
	for _, p := range pairs {
		m[p[0]] = p[1]
	}
	enc := json.NewEncoder(a.Out)
	enc.SetIndent("", "  ")
	return enc.Encode(m)
}

// settingsCommand prints settings and where each is from; the token itself is never among them.
func (a *app) settingsCommand() *cobra.Command {
	return &cobra.Command{
		Use: "config", Short: "The settings in force and where each is from, without secrets", Args: arity(0, 0),
		Long: `Settings come from built-in values, a profile in the settings file, the
environment (LASTLIGHT_PROFILE, LASTLIGHT_SERVER, LASTLIGHT_CA,
LASTLIGHT_TOKEN_FILE, LASTLIGHT_UNITS, LASTLIGHT_AS) and flags; each wins over
the one before.`,
		Example: "  lastlight config\n  LASTLIGHT_UNITS=imperial lastlight config",
		RunE: func(cmd *cobra.Command, _ []string) error {
			token := "readable"
			if _, err := config.ReadToken(a.settings.TokenFile); err != nil {
				token = err.Error()
			}
			with := func(value, name string) string {
				if value == "" {
					return "not set"
				}
				if form(a.as) != asTable {
					return value
				}
				return value + "  (" + a.settings.Sources[name] + ")"
			}
			return a.pairs(cmd, [][2]string{
				{"settings_file", a.settings.Path},
				{"profile", with(a.settings.Profile, "profile")},
				{"server", with(a.settings.Server, "server")},
				{"ca", with(a.settings.CA, "ca")},
				{"token_file", with(a.settings.TokenFile, "token_file")},
				{"token", token},
				{"units", with(a.settings.Units, "units")},
			})
		},
	}
}

// login stores a token from stdin and remembers server, CA and units in the profile.
func (a *app) login() *cobra.Command {
	return &cobra.Command{
		Use: "login", Short: "Store a token given on stdin, and the server it is for", Args: arity(0, 0),
		Long: `Reads the token from stdin, never from the command line, and stores it with mode
0600. --server, --ca, --token-file and --units are kept in the profile.`,
		Example: "  lastlight login --server club.example:7443 --ca club-ca.pem < token",
		RunE: func(cmd *cobra.Command, _ []string) error {
			if a.ErrTerminal && a.Terminal {
				a.note("paste the token, then Enter and Ctrl-D")
			}
			token, err := config.CleanToken(a.In)
			if err != nil {
				return err
			}
			f, err := config.ReadFile(a.settings.Path)
			if err != nil {
				return err
			}
			if f.Profiles == nil {
				f.Profiles = map[string]config.Values{}
			}
			p := f.Profiles[a.settings.Profile]
			for _, x := range []struct {
				to   *string
				from string
				path bool
			}{{&p.Server, a.given.Server, false}, {&p.CA, a.given.CA, true}, {&p.TokenFile, a.given.TokenFile, true}, {&p.Units, a.given.Units, false}} {
				if x.from == "" {
					continue
				}
				*x.to = x.from
				if x.path {
					// Later runs start elsewhere.
					if *x.to, err = filepath.Abs(x.from); err != nil {
						return exit.With(exit.Usage, err)
					}
				}
			}
			f.Profiles[a.settings.Profile] = p
			if f.Profile == "" {
				f.Profile = a.settings.Profile
			}
			if err := config.WriteToken(a.settings.TokenFile, token); err != nil {
				return err
			}
			if err := config.WriteFile(a.settings.Path, f); err != nil {
				return err
			}
			a.note("stored in %s; `lastlight whoami` tries it", a.settings.TokenFile)
			return nil
		},
	}
}

func (a *app) version() *cobra.Command {
	return &cobra.Command{
		Use: "version", Short: "The version of this program", Args: arity(0, 0), Example: "  lastlight version",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return a.pairs(cmd, [][2]string{{"lastlight", programVersion()}})
		},
	}
}

// exitCodes is a help topic: it has no run of its own.
func exitCodes() *cobra.Command {
	text := "lastlight ends with one of these codes; scripts may rely on them.\n\n"
	for _, m := range exit.Meanings {
		text += fmt.Sprintf("  %d  %-12s %s\n", m.Code, m.Name, wrapped(m.Text))
	}
	return &cobra.Command{Use: "exit-codes", Short: "What the exit codes mean", Long: text, Example: "  lastlight help exit-codes"}
}

func wrapped(s string) string { return screen.Hang(s, 18) }

// finishCompletion gives cobra's own commands what every command here has.
func finishCompletion(c *cobra.Command) {
	c.GroupID = "access"
	c.Short = "Completions for bash, zsh, fish and powershell"
	c.Example = "  lastlight completion bash > /etc/bash_completion.d/lastlight"
	for _, shell := range c.Commands() {
		shell.Example = "  lastlight completion " + shell.Name()
	}
}
