package tour

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os/exec"
	"strings"
	"syscall"
	"time"
)

// Player runs a script.
type Player struct {
	Out      io.Writer         // headings, commands and what they print
	Values   Values            // placeholders; kept values are added to it
	Programs map[string]string // paths of the programs, by the names they have in scripts
	Dir      string            // where commands run
	Env      []string          // the commands' whole environment, but for what the person adds
	Person   func(name string) []string
}

// Play runs the steps in order and stops at the first command that does not end as expected.
func (p *Player) Play(ctx context.Context, steps []Step) error {
	var env []string
	person, last := "", ""
	if p.Values.Kept == nil {
		p.Values.Kept = map[string]string{}
	}
	for i, s := range steps {
		var err error
		switch s.Kind {
		case Heading, Words:
			err = p.say(s, i == 0)
		case Person:
			person, env = s.Text, p.Person(s.Text)
		case Command:
			last, err = p.run(ctx, s, person, env)
		case Keep:
			if found := s.Pattern.FindStringSubmatch(last); found != nil {
				p.Values.Kept[s.Text] = found[1]
			} else {
				err = fmt.Errorf("the last command did not print %s", s.Pattern)
			}
		}
		if err != nil {
			return fmt.Errorf("tour, line %d: %w", s.Line, err)
		}
	}
	return nil
}

func (p *Player) say(s Step, first bool) error {
	text, err := p.Values.Expand(s.Text)
	if err != nil {
		return err
	}
	if s.Kind == Heading {
		if !first {
			text = "\n" + text
		}
		text += "\n" + strings.Repeat("=", len(strings.TrimSpace(text)))
	}
	_, err = fmt.Fprintln(p.Out, text)
	return err
}

// run prints a command, then runs it with its output going on at once, and returns that output.
func (p *Player) run(ctx context.Context, s Step, person string, env []string) (string, error) {
	argv := make([]string, len(s.Argv))
	var problems []error
	for i, word := range s.Argv {
		var err error
		argv[i], err = p.Values.Expand(word)
		problems = append(problems, err)
	}
	if err := errors.Join(problems...); err != nil {
		return "", err
	}
	prompt := "$ "
	if person != "" {
		prompt = person + "$ "
	}
	if _, err := fmt.Fprintf(p.Out, "\n%s%s\n", prompt, quote(argv)); err != nil {
		return "", err
	}
	var printed bytes.Buffer
	cmd := exec.CommandContext(ctx, p.Programs[argv[0]], argv[1:]...)
	cmd.Dir, cmd.Env = p.Dir, append(append([]string{}, p.Env...), env...)
	out := io.MultiWriter(p.Out, &printed)
	cmd.Stdout, cmd.Stderr = out, out // one writer for both keeps their order
	// A group of its own: Ctrl-C reaches the player, which then ends the command.
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	cmd.Cancel = func() error { return cmd.Process.Signal(syscall.SIGINT) }
	cmd.WaitDelay = 5 * time.Second
	err := cmd.Run()
	if ctx.Err() != nil {
		return "", ctx.Err()
	}
	if cmd.ProcessState == nil {
		return "", err
	}
	if exit := cmd.ProcessState.ExitCode(); exit != s.Exit {
		return "", fmt.Errorf("%s: exit code %d, expected %d", quote(argv), exit, s.Exit)
	}
	return printed.String(), nil
}
