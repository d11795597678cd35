package command

import (
	"strconv"

	"github.com/spf13/cobra"

	"lastlight/client/screen"
	pb "lastlight/proto/lastlight/v1"
)

func (a *app) reading() *cobra.Command {
	c := pb.NewSiteServiceClient
	metres := func(has *float64) string {
		if has == nil {
			return ""
		}
		return strconv.FormatFloat(*has, 'f', -1, 64) + " m"
	}
	return a.noun("reading", "Level, flow and visibility of a morning",
		call(a, verb{
			use: "record SITE", short: "Record what was read at the water", args: []string{"reading.site"}, block: "reading", file: true,
			example: "  lastlight reading record hollow-spring --read-at now --level-m 0.8 --flow low --visibility-m 15",
		}, c, pb.SiteServiceClient.RecordReading, nil, done[*pb.Reading]("Recorded.")),
		list(a, verb{
			use: "list SITE", short: "List readings, latest first", args: []string{"site"}, example: "  lastlight reading list hollow-spring --limit 7",
		}, c, pb.SiteServiceClient.ListReadings,
			col("read at", func(w screen.View, r *pb.Reading) string { return w.Time(r.GetReadAt(), r.GetSite()) }),
			plain("level", func(r *pb.Reading) string { return metres(r.LevelM) }), plain("flow", (*pb.Reading).GetFlow),
			plain("visibility", func(r *pb.Reading) string { return metres(r.VisibilityM) }),
			plain("by", (*pb.Reading).GetReadBy), words("notes", (*pb.Reading).GetNotes), plain("id", (*pb.Reading).GetId),
		),
	)
}
