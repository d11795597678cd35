package app

import (
	"context"
	"errors"
	"fmt"
	"os"
	"regexp"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"lastlight/server/internal/access"
	"lastlight/server/internal/store"
)

// firstToken is what the command is told.
type firstToken struct {
	person, name, device, file string
	days                       int
	recover                    bool
}

// personKey is the form of a person's key in the published interface.
var personKey = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,62}$`)

func (p *program) firstTokenCommand() *cobra.Command {
	var f firstToken
	c := &cobra.Command{
		Use: "first-token", Short: "Make the first member of the committee and a token for them", Args: cobra.NoArgs,
		Long: "Make the first member of the committee and a token for them. It is a command on the server's machine, because\nnobody could be asked for permission yet. The secret is shown once and is not stored.",
		Example: `  lastlightd first-token --person mara --full-name "Mara Feldt" --device "laptop of the club"
  lastlightd first-token --person mara --recover --out mara.token`,
		RunE: func(cmd *cobra.Command, _ []string) error { return p.firstToken(cmd.Context(), f) },
	}
	c.Flags().StringVar(&f.person, "person", "committee", "key of the person, made if not on record")
	c.Flags().StringVar(&f.name, "full-name", "", "name of a person who is not on record yet (default: the key)")
	c.Flags().StringVar(&f.device, "device", "first device", "name of the device that will hold the token")
	c.Flags().StringVar(&f.file, "out", "", "write the secret into this new file, readable by its owner only, instead of printing it")
	c.Flags().IntVar(&f.days, "days", access.DefaultDays, fmt.Sprintf("days until the token ends, 1 to %d", access.MaxDays))
	c.Flags().BoolVar(&f.recover, "recover", false, "although there is a committee; this is recorded")
	return c
}

func (f firstToken) check() error {
	var problems []error
	if !personKey.MatchString(f.person) {
		problems = append(problems, fmt.Errorf("--person %q: small letters, digits and hyphens are expected, 63 at most", f.person))
	}
	if n := len(strings.TrimSpace(f.device)); n == 0 || n > 80 {
		problems = append(problems, fmt.Errorf("--device %q: 1 to 80 characters are expected", f.device))
	}
	if len(f.name) > 120 {
		problems = append(problems, errors.New("--full-name: 120 characters at most are expected"))
	}
	if f.days < 1 || f.days > access.MaxDays {
		problems = append(problems, fmt.Errorf("--days %d: 1 to %d are expected", f.days, access.MaxDays))
	}
	if err := errors.Join(problems...); err != nil {
		return wrongUse{err}
	}
	return nil
}

func (p *program) firstToken(ctx context.Context, f firstToken) (err error) {
	if err := f.check(); err != nil {
		return err
	}
	c, err := load(p.from, p.file, "database_url")
	if err != nil {
		return err
	}
	ctx, pool, done, err := onSchema(ctx, c, time.Minute)
	if err != nil {
		return err
	}
	defer done()
	// The file comes first: a secret that cannot be written down would be lost.
	var out *os.File
	if f.file != "" {
		if out, err = os.OpenFile(f.file, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600); err != nil {
			return fmt.Errorf("--out: %w", err)
		}
		defer func() {
			if err = errors.Join(err, out.Close()); err != nil {
				os.Remove(f.file)
			}
		}()
	}
	name := strings.TrimSpace(f.name)
	if name == "" {
		name = f.person
	}
	secret := access.NewSecret()
	token, err := store.New(pool, p.now).FirstToken(ctx, store.First{
		Person: f.person, FullName: name, Device: strings.TrimSpace(f.device),
		Hash: secret.Hash(), Life: access.Life(f.days), Recover: f.recover,
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(p.errors, "token of %s on %q, good until %s; the secret is shown once:\n", token.Person, token.Device, token.ExpiresAt.AsTime().Format(time.RFC3339))
	if out != nil {
		fmt.Fprintf(p.errors, "written to %s\n", f.file)
		_, err = fmt.Fprintln(out, secret.Reveal())
		return errors.Join(err, out.Sync())
	}
	_, err = fmt.Fprintln(p.out, secret.Reveal())
	return err
}
