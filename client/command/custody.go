package command

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/client/screen"
	pb "lastlight/proto/lastlight/v1"
)

func (a *app) custody() *cobra.Command {
	c := pb.NewGearServiceClient
	return a.noun("custody", "Who has which item, what waits in a cave, what is lost",
		call(a, verb{
			use: "record ITEM...", short: "Record what became of items, many at once", args: []string{"items..."}, block: "event", skip: []string{"item", "id"},
			long: "Hand over, leave unattended, put in a depot, bring back, lose, find. A cylinder that " +
				"waits in the cave stays in custody; one left unattended or lost is analysed again.",
			example: "  lastlight custody record c-12-1 c-12-2 --kind handed_over --holder ane\n" +
				"  lastlight custody record stage-1 --kind waiting_in_cave --site hollow-spring --place junction --remove-by 2026-06-09",
		}, c, pb.GearServiceClient.RecordCustody, func(_ context.Context, _ *cobra.Command, r *pb.RecordCustodyRequest) error {
			if r.Event == nil {
				r.Event = &pb.CustodyEvent{}
			}
			if r.Event.At == nil {
				r.Event.At = timestamppb.New(a.Now())
			}
			return nil
		}, recorded),
		list(a, verb{use: "list [ITEM]", short: "What became of an item, or of all, latest first", args: []string{"item?"}, example: "  lastlight custody list stage-1"},
			c, pb.GearServiceClient.ListCustody, custodyColumns...),
		list(a, verb{
			use: "who", short: "Who has what now, and what lies where", example: "  lastlight custody who --holder ane\n  lastlight custody who --site hollow-spring --state waiting_in_cave",
		}, c, pb.GearServiceClient.ListHoldings,
			plain("item", (*pb.Holding).GetItem), words("kind", (*pb.Holding).GetKind), words("owner", func(h *pb.Holding) string { return orClub(h.GetOwner()) }),
			words("state", (*pb.Holding).GetState), words("holder", func(h *pb.Holding) string {
				if h.GetState() == "held" {
					return orClub(h.GetHolder())
				}
				return ""
			}),
			col("since", func(w screen.View, h *pb.Holding) string { return w.Time(h.GetSince(), h.GetSite()) }),
			plain("site", (*pb.Holding).GetSite), words("place", (*pb.Holding).GetPlace), plain("remove by", (*pb.Holding).GetRemoveBy),
		),
	)
}

func orClub(person string) string {
	if person == "" {
		return "club"
	}
	return person
}

var custodyColumns = []column[*pb.CustodyEvent]{
	plain("item", (*pb.CustodyEvent).GetItem), words("what", (*pb.CustodyEvent).GetKind),
	col("at", func(w screen.View, e *pb.CustodyEvent) string { return w.Time(e.GetAt(), e.GetSite()) }),
	plain("holder", (*pb.CustodyEvent).GetHolder), plain("site", (*pb.CustodyEvent).GetSite), words("place", (*pb.CustodyEvent).GetPlace),
	plain("remove by", (*pb.CustodyEvent).GetRemoveBy), plain("by", (*pb.CustodyEvent).GetRecordedBy), words("notes", (*pb.CustodyEvent).GetNotes),
}

func recorded(w screen.View, r *pb.RecordCustodyResponse) error {
	if w.Page {
		if _, err := fmt.Fprintln(w.Out, "Recorded."); err != nil {
			return err
		}
	}
	return rows(w, r, custodyColumns)
}
