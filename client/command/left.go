package command

import (
	"context"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/client/screen"
	"lastlight/client/table"
	pb "lastlight/proto/lastlight/v1"
)

func (a *app) left() *cobra.Command {
	c := pb.NewSiteServiceClient
	return a.noun("left", "Lines, markers and cylinders left in the cave",
		list(a, verb{use: "list", short: "List what lies in the cave", example: "  lastlight left list --site hollow-spring --include-recovered"},
			c, pb.SiteServiceClient.ListLeftItems, leftColumns...),
		call(a, verb{
			use: "recover ITEM", short: "Record that an item came out", args: []string{"id"}, example: "  lastlight left recover line-12 --dive d-41 --recovered-at now",
		}, c, pb.SiteServiceClient.RecoverLeftItem, func(_ context.Context, _ *cobra.Command, r *pb.RecoverLeftItemRequest) error {
			if r.RecoveredAt == nil {
				r.RecoveredAt = timestamppb.New(a.Now())
			}
			return nil
		}, done[*pb.LeftItem]("Recovered.")),
		call(a, verb{
			use: "confirm ITEM", short: "Confirm for today that a line is still there and sound", args: []string{"id"}, example: "  lastlight left confirm line-12 --seen-at 2026-06-02T09:40+02:00",
		}, c, pb.SiteServiceClient.ConfirmLeftItem, func(_ context.Context, _ *cobra.Command, r *pb.ConfirmLeftItemRequest) error {
			if r.SeenAt == nil {
				r.SeenAt = timestamppb.New(a.Now())
			}
			return nil
		}, done[*pb.LeftItem]("Confirmed.")),
	)
}

var leftColumns = []column[*pb.LeftItem]{
	plain("id", (*pb.LeftItem).GetId), plain("site", (*pb.LeftItem).GetSite), plain("kind", (*pb.LeftItem).GetKind),
	plain("place", (*pb.LeftItem).GetPlace), plain("item", (*pb.LeftItem).GetItem), plain("owner", (*pb.LeftItem).GetOwner),
	plain("remove by", (*pb.LeftItem).GetRemoveBy),
	col("left at", func(w screen.View, l *pb.LeftItem) string { return w.Time(l.GetLeftAt(), l.GetSite()) }),
	col("recovered at", func(w screen.View, l *pb.LeftItem) string { return w.Time(l.GetRecoveredAt(), l.GetSite()) }),
}

func leftRows(w screen.View, items []*pb.LeftItem) error {
	t := table.Table{}
	for _, c := range leftColumns {
		t.Columns = append(t.Columns, c.Column)
	}
	for _, l := range items {
		var row []string
		for _, c := range leftColumns {
			row = append(row, c.text(w, l))
		}
		t.Rows = append(t.Rows, row)
	}
	return w.Table(t)
}
