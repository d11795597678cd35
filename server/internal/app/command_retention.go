package app

import (
	"context"
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"lastlight/server/internal/store"
)

// retentionWithin is how long a run may take: it is one transaction, while which nobody can report an incident.
const retentionWithin = 10 * time.Minute

func (p *program) retentionCommand() *cobra.Command {
	var dry bool
	c := &cobra.Command{
		Use: "retention", Short: "Take out records that the club's policy keeps no longer", Args: cobra.NoArgs,
		Long: "Take out, for good, records that the club's policy in force keeps no longer, by kind. What a decision used stays with it under\n" +
			"pseudonyms, so that it can still be replayed; it goes with its plan. While an incident is open nothing goes. Made to be run\n" +
			"by the machine's timer, once a day; look at --dry-run first.",
		Example: "  lastlightd retention --dry-run\n  lastlightd retention",
		RunE:    func(cmd *cobra.Command, _ []string) error { return p.retention(cmd.Context(), dry) },
	}
	c.Flags().BoolVar(&dry, "dry-run", false, "say what would go; take nothing out")
	return c
}

func (p *program) retention(ctx context.Context, dry bool) error {
	c, err := load(p.from, p.file, "database_url")
	if err != nil {
		return err
	}
	ctx, pool, done, err := onSchema(ctx, c, retentionWithin)
	if err != nil {
		return err
	}
	defer done()
	r, err := store.New(pool, p.now).Retain(ctx, dry)
	if err != nil {
		return err
	}
	fmt.Fprintf(p.out, "policy %s; %s %s, %s, read %s\n", r.Policy, r.Citation.Document, r.Citation.Edition, r.Citation.Section, r.Citation.DateRead)
	if len(r.Frozen) > 0 {
		fmt.Fprintf(p.out, "an incident is open, so nothing goes: %s\n", strings.Join(r.Frozen, ", "))
	}
	gone := "gone"
	if dry {
		gone = "would go"
	}
	if r.Answers > 0 {
		fmt.Fprintf(p.out, "%s: %d answers to calls of more than 30 days ago; that these were carried out stays known\n", gone, r.Answers)
	}
	w := tabwriter.NewWriter(p.out, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "kind\tkept\tended before\t%s\twhy not\n", gone)
	for _, k := range r.Kinds {
		before := "-"
		if !k.Before.IsZero() {
			before = k.Before.Format(time.DateOnly)
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%d\t%s\n", k.Kind, k.Keep, before, k.Gone, k.Why)
	}
	return w.Flush()
}
