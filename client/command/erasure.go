package command

import (
	"fmt"

	"github.com/spf13/cobra"

	"lastlight/client/exit"
	"lastlight/client/screen"
	pb "lastlight/proto/lastlight/v1"
)

// erasureRead is under what the preview that was read is remembered, as a plan's report is.
func erasureRead(person string) string { return "\x00erasure\x00" + person }

// erase asks for an erasure, shows what one would do, takes the request back, or carries it out.
func (a *app) erase() *cobra.Command {
	cmd, build := command[*pb.RequestErasureRequest](a, verb{
		use: "erase [PERSON]", short: "Ask for a person to be taken out for ever; yourself", args: []string{"person?"},
		long: "Asks for it, of yourself if nobody is named. A guardian and the welfare officer ask for a minor, the committee on a letter: --written-day. --dry-run shows what " +
			"goes, what stays and why, and what hinders it. Nothing goes until a member of the committee, who is neither the person nor asked for it, has read that and says " +
			"--confirm; if it has changed since, or something hinders it, nothing is done.",
		example: "  lastlight person erase\n  lastlight person erase ane --written-day 2026-06-01\n  lastlight person erase ane --dry-run\n" +
			"  lastlight person erase ane --confirm\n  lastlight person erase ane --withdraw",
	})
	dry := cmd.Flags().Bool("dry-run", false, "show what would go and stay; ask for nothing")
	confirm := cmd.Flags().Bool("confirm", false, "carry out what --dry-run showed you last, for ever")
	back := cmd.Flags().Bool("withdraw", false, "take the request back")
	cmd.MarkFlagsMutuallyExclusive("dry-run", "confirm", "withdraw", "written-day")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if !cmd.Flags().Changed("timeout") {
			a.timeout = filesTimeout // every text of the club is gone through
		}
		req := &pb.RequestErasureRequest{}
		if err := build.request(cmd, args, req, nil); err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		c, ctx, person := pb.NewPrivacyServiceClient(conn), cmd.Context(), req.GetPerson()
		switch {
		case *dry:
			x, err := c.CheckErasure(ctx, &pb.CheckErasureRequest{Person: person})
			if err != nil {
				return err
			}
			a.keepSeen(erasureRead(x.GetPerson()), seen{1, x.GetHash()})
			return a.answer(ctx, x, func(w screen.View) error { return w.Erasure(x) })
		case *confirm:
			last, ok := a.recall(erasureRead(person))
			if !ok {
				return exit.Errorf(exit.Usage, "you have not read what it does: `lastlight person erase PERSON --dry-run`, then confirm it")
			}
			x, err := c.ConfirmErasure(ctx, &pb.ConfirmErasureRequest{Person: person, Hash: last.hash, RequestId: a.requestID})
			if err != nil {
				return err
			}
			return a.answer(ctx, x, func(w screen.View) error { return w.Erased(x) })
		case *back:
			x, err := c.WithdrawErasure(ctx, &pb.WithdrawErasureRequest{Person: person, RequestId: a.requestID})
			if err != nil {
				return err
			}
			return a.answer(ctx, x, func(w screen.View) error { return done[*pb.Erasure]("Taken back: nothing is erased.")(w, x) })
		}
		x, err := c.RequestErasure(ctx, req)
		if err != nil {
			return err
		}
		return a.answer(ctx, x, func(w screen.View) error {
			if err := done[*pb.Erasure]("Asked for.")(w, x); err != nil || !w.Page {
				return err
			}
			_, err := fmt.Fprintf(w.Out, "A member of the committee now reads `lastlight person erase %s --dry-run`\nand confirms it with `--confirm`.\n", x.GetPerson())
			return err
		})
	}
	return cmd
}

func (a *app) erasures() *cobra.Command {
	return list(a, verb{
		use: "erasures", short: "Requests to take a person out, latest first",
		long:    "Yours and your ward's; all of them for the committee. --open leaves those not yet carried out or taken back.",
		example: "  lastlight person erasures --open",
	}, pb.NewPrivacyServiceClient, pb.PrivacyServiceClient.ListErasures,
		plain("person", (*pb.Erasure).GetPerson), plain("state", (*pb.Erasure).GetState),
		col("asked at", func(w screen.View, e *pb.Erasure) string { return w.Time(e.GetRequestedAt(), "") }), plain("by", (*pb.Erasure).GetRequestedBy),
		plain("taken back by", (*pb.Erasure).GetWithdrawnBy), plain("letter of", (*pb.Erasure).GetWrittenDay),
		col("carried out", func(w screen.View, e *pb.Erasure) string { return w.Time(e.GetCarriedOutAt(), "") }), plain("confirmed by", (*pb.Erasure).GetConfirmedBy),
	)
}
