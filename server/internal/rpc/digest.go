package rpc

import (
	"context"
	"fmt"
	"strings"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/store"
)

const dueService = "/lastlight.v1.DueService/"

// SetDigest asks for the caller's digest, or ends it.
func (h *Due) SetDigest(ctx context.Context, r *lastlightv1.SetDigestRequest) (*lastlightv1.Digest, error) {
	p := fault.Collect("")
	if (r.Address == "") != (r.Every == "") {
		p.Add("every", r.Every, "day or week, with an address; neither to end it", "an address and how often belong together")
	}
	if err := p.Err(); err != nil {
		return nil, err
	}
	if r.Address != "" { // letters go on when the token has ended
		if err := inPerson(ctx); err != nil {
			return nil, err
		}
	}
	m := &lastlightv1.Digest{Person: access.CallerFrom(ctx).Person, Address: r.Address, Every: r.Every, Sending: h.Sending}
	return store.Mutate(ctx, h.Store, mutation(ctx, dueService+"SetDigest", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Digest, error) {
		return m, tx.PutDigest(ctx, m)
	})
}

// GetDigest reads what the caller has asked for.
func (h *Due) GetDigest(ctx context.Context, _ *lastlightv1.GetDigestRequest) (*lastlightv1.Digest, error) {
	m, err := h.Store.Digest(ctx, access.CallerFrom(ctx).Person)
	if err != nil {
		return nil, err
	}
	m.Sending = h.Sending
	return m, nil
}

// ListLetters lists letters: the club's for who runs it, one's own for everybody.
func (h *Due) ListLetters(ctx context.Context, r *lastlightv1.ListLettersRequest) (*lastlightv1.ListLettersResponse, error) {
	c := access.CallerFrom(ctx)
	only := c.Person
	if c.Club.Any(access.Committee | access.Coordinator) {
		only = ""
	}
	list, next, err := h.Store.ListLetters(ctx, r, only)
	return &lastlightv1.ListLettersResponse{Letters: list, NextPageToken: next}, err
}

// mostInLetter is how many dates a letter names; the rest is counted.
const mostInLetter = 40

// LetterTo is the text of a person's digest as of now, by what they may see of themselves; empty: nothing stops diving or falls due.
// Mail is read by others than its reader: what is about health is counted and not named.
func (h *Due) LetterTo(ctx context.Context, person string) (string, error) {
	name, err := h.Store.NameOf(ctx, person)
	if err != nil {
		return "", err
	}
	ctx = access.WithCaller(ctx, access.NewCaller(name, access.Token{Person: person}, nil))
	list, err := h.ListDue(ctx, &lastlightv1.ListDueRequest{PageSize: 1000})
	if err != nil || len(list.Entries) == 0 {
		return "", err
	}
	var b strings.Builder
	fmt.Fprintf(&b, "What of yours stops diving on %s, or falls due by %s:\r\n\r\n", list.Day, list.By)
	shown, unnamed := 0, 0
	for _, e := range list.Entries {
		if e.Rule == "diver.medical" || e.Rule == "diver.not_diving" || e.Rule == "diver.not_available" {
			unnamed++
			continue
		}
		if shown++; shown > mostInLetter {
			continue
		}
		when := e.Stops
		switch {
		case e.LastDay != "":
			when = "last day " + e.LastDay
		case e.Stops == "later":
			when = "no date"
		}
		fmt.Fprintf(&b, "- %s: %s\r\n", when, e.What)
		if e.ToDo != "" {
			fmt.Fprintf(&b, "  to do: %s\r\n", e.ToDo)
		}
	}
	if shown > mostInLetter {
		fmt.Fprintf(&b, "- and %d more\r\n", shown-mostInLetter)
	}
	if unnamed > 0 {
		fmt.Fprintf(&b, "- %d that are not named in a letter\r\n", unnamed)
	}
	b.WriteString("\r\nSee all of it with: lastlight due\r\nNo more of these letters: lastlight digest end\r\n\r\n" +
		"This is a planning and record aid. It does not replace training, an instructor, a doctor, site owners' rules or the law.\r\n")
	return b.String(), nil
}
