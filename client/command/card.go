package command

import (
	"fmt"

	"github.com/google/uuid"
	"github.com/spf13/cobra"

	"lastlight/client/exit"
	"lastlight/client/screen"
	"lastlight/client/table"
	pb "lastlight/proto/lastlight/v1"
)

func (a *app) card() *cobra.Command {
	c := pb.NewRosterServiceClient
	return a.noun("card", "Training cards: levels and endorsements",
		call(a, verb{use: "list PERSON", short: "List the cards of a person", args: []string{"id"}, example: "  lastlight card list ane"},
			c, pb.RosterServiceClient.GetPerson, nil, showCards),
		a.cardAdd(),
		a.cardSeen(),
		call(a, verb{
			use: "revoke PERSON CARD", short: "The card was taken back; it counts for nothing from this minute", args: []string{"person", "card"},
			example: "  lastlight card revoke ane full-2024 --reason \"withdrawn by the issuing body\"",
		}, c, pb.RosterServiceClient.RevokeCard, nil, showCards),
	)
}

func showCards(w screen.View, p *pb.Person) error {
	if w.Page && len(p.GetCards()) == 0 {
		// Cards that are hidden and cards that are not there look alike, here as in the answer.
		_, err := fmt.Fprintf(w.Out, "No card of %s that you may read.\n", p.GetFullName())
		return err
	}
	t := table.Table{Columns: []table.Column{
		{Title: "card"},
		{Title: "level"},
		{Title: "endorsement"},
		{Title: "issued"},
		{Title: "expires"},
		{Title: "seen by"},
		{Title: "revoked"},
		{Title: "issuing body", Wraps: true},
	}}
	for _, c := range p.GetCards() {
		t.Rows = append(t.Rows, []string{
			c.GetId(), c.GetLevel(), c.GetEndorsement(), c.GetIssuedDay(), c.GetExpiresDay(), c.GetSeenBy(), w.Time(c.GetRevokedAt(), ""), c.GetIssuingBody(),
		})
	}
	return w.Table(t)
}

// cardAdd adds a card to the person on the version that was read.
func (a *app) cardAdd() *cobra.Command {
	cmd := &cobra.Command{
		Use: "add PERSON CARD", Short: "Enter a card; it counts once somebody else has seen it", Args: arity(2, 2),
		Example: "  lastlight card add ane full-2024 --level FULL --issued-day 2024-03-02 --issuing-body \"National federation\"",
	}
	f := a.fieldsOf(cmd, (&pb.Card{}).ProtoReflect().Descriptor(), "", []string{"id"}, nil)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		card := &pb.Card{Id: args[1]}
		if err := f.fill(cmd, card); err != nil {
			return err
		}
		t := typed{cmd: cmd, verb: verb{use: cmd.Use, args: []string{"person", "id"}}, flags: f.flags}
		if err := t.check(card); err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		roster := pb.NewRosterServiceClient(conn)
		p, err := roster.GetPerson(cmd.Context(), &pb.GetPersonRequest{Id: args[0]})
		if err != nil {
			return err
		}
		for _, c := range p.GetCards() {
			if c.GetId() == card.GetId() {
				return exit.Errorf(exit.Conflict, "%s has a card %s already: `lastlight card list %s`", args[0], args[1], args[0])
			}
		}
		t.verb.args, t.under = []string{"person.id", "id"}, fmt.Sprintf("person.cards[%d].", len(p.Cards))
		p.Cards = append(p.Cards, card)
		req := &pb.UpdatePersonRequest{Person: p, ExpectedVersion: p.GetVersion()}
		a.stamp(req)
		if p, err = roster.UpdatePerson(cmd.Context(), req); err != nil {
			return t.refused(err)
		}
		return a.answer(cmd.Context(), p, func(w screen.View) error { return showCards(w, p) })
	}
	return cmd
}

// cardSeen records cards of one person as seen, a call for each.
func (a *app) cardSeen() *cobra.Command {
	v := verb{
		use: "seen PERSON CARD...", short: "You have had these cards in hand; nobody can have seen their own", args: []string{"person", "card..."},
		long:    "Each card is recorded by itself: where one is refused, those before it are recorded.",
		example: "  lastlight card seen ane full-2024\n  lastlight card seen ane cpr first-aid oxygen",
	}
	cmd, build := command[*pb.RecordCardSeenRequest](a, v)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		var person *pb.Person
		for _, card := range args[1:] {
			req := &pb.RecordCardSeenRequest{}
			if err := build.request(cmd, []string{args[0], card}, req, nil); err != nil {
				return err
			}
			if run, err := uuid.Parse(a.requestID); err == nil && len(args) > 2 {
				req.RequestId = uuid.NewSHA1(run, []byte(card)).String() // repeated with the run's id, each is done once only
			}
			conn, err := a.dial()
			if err != nil {
				return err
			}
			if person, err = pb.NewRosterServiceClient(conn).RecordCardSeen(cmd.Context(), req); err != nil {
				return build.placed(err)
			}
		}
		return a.answer(cmd.Context(), person, func(w screen.View) error { return showCards(w, person) })
	}
	return cmd
}
