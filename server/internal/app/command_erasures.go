package app

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"regexp"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"lastlight/server/internal/store"
)

// pseudonymLine is a line of the list: the pseudonym, then the day for whoever reads it.
var pseudonymLine = regexp.MustCompile(`^(P-[2-9A-Z]{6})(\s+\d{4}-\d{2}-\d{2})?$`)

func (p *program) erasuresCommand() *cobra.Command {
	var again string
	c := &cobra.Command{
		Use: "erasures", Short: "List the erased, without names, or erase them again in a restored database", Args: cobra.NoArgs,
		Long: "A backup from before an erasure still holds the person. Keep this list beside the backups: it has pseudonyms and days, no names.\n" +
			"After a restore, --again FILE (- is stdin) erases in the restored database whoever the list names and the backup still has. What\n" +
			"hinders an erasure hinders this too: it is said, the others are done, and the command ends with 1.",
		Example: "  lastlightd erasures > erased.txt\n  lastlightd erasures --again erased.txt",
		RunE:    func(cmd *cobra.Command, _ []string) error { return p.erasures(cmd.Context(), again) },
	}
	c.Flags().StringVar(&again, "again", "", "list of pseudonyms to erase again")
	return c
}

func (p *program) erasures(ctx context.Context, again string) error {
	var list []string
	if again != "" {
		var err error
		if list, err = readPseudonyms(again); err != nil {
			return err
		}
	}
	c, err := load(p.from, p.file, "database_url")
	if err != nil {
		return err
	}
	ctx, pool, done, err := onSchema(ctx, c, retentionWithin)
	if err != nil {
		return err
	}
	defer done()
	s := store.New(pool, p.now)
	if again == "" {
		erased, err := s.ErasedPeople(ctx)
		for _, e := range erased {
			fmt.Fprintf(p.out, "%s %s\n", e.Pseudonym, e.On.UTC().Format(time.DateOnly))
		}
		return err
	}
	waiting := 0
	for _, pseudonym := range list {
		did, err := s.EraseAgain(ctx, pseudonym)
		switch hindered, waits := errors.AsType[*store.Hindered](err); {
		case waits:
			waiting++
			fmt.Fprintf(p.out, "%s waits: %s\n", pseudonym, strings.Join(hindered.Codes, ", "))
		case err != nil:
			return fmt.Errorf("%s: %w", pseudonym, err)
		case did:
			fmt.Fprintf(p.out, "%s erased\n", pseudonym)
		default:
			fmt.Fprintf(p.out, "%s is erased, or not in this database\n", pseudonym)
		}
	}
	if waiting > 0 {
		return fmt.Errorf("%d of %d wait: once nothing hinders them, run this again", waiting, len(list))
	}
	return nil
}

// readPseudonyms reads the list, and finds every line that is none before anything is done.
func readPseudonyms(name string) ([]string, error) {
	file := os.Stdin
	if name != "-" {
		var err error
		if file, err = os.Open(name); err != nil {
			return nil, err
		}
		defer func() { _ = file.Close() }() // read only
	}
	var list, bad []string
	lines := bufio.NewScanner(file)
	for n := 1; lines.Scan(); n++ {
		text := strings.TrimSpace(lines.Text())
		if text == "" {
			continue
		}
		m := pseudonymLine.FindStringSubmatch(text)
		if m == nil {
			bad = append(bad, fmt.Sprintf("line %d: %q is no pseudonym such as P-7KQ2M4", n, text))
			continue
		}
		list = append(list, m[1])
	}
	if err := lines.Err(); err != nil {
		return nil, err
	}
	if len(bad) > 0 {
		return nil, wrongUse{errors.New(strings.Join(bad, "; "))}
	}
	return list, nil
}
