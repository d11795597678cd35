package command

import (
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"lastlight/client/screen"
	pb "lastlight/proto/lastlight/v1"
)

func (a *app) dive() *cobra.Command {
	c := pb.NewDiveServiceClient
	return a.noun("dive", "Dives that were made",
		list(a, verb{use: "list", short: "List dives", example: "  lastlight dive list --site hollow-spring --person ane"}, c, pb.DiveServiceClient.ListDives,
			plain("id", (*pb.Dive).GetId), plain("site", (*pb.Dive).GetSite),
			col("entered", func(w screen.View, d *pb.Dive) string { return w.Time(d.GetEnteredAt(), d.GetSite()) }),
			words("people", func(d *pb.Dive) string {
				var names []string
				for _, x := range d.GetDivers() {
					names = append(names, x.GetPerson())
				}
				return join(names)
			}),
			plain("depth", func(d *pb.Dive) string { return strconv.FormatFloat(d.GetMaxDepthM(), 'f', -1, 64) + " m" }),
			plain("state", func(d *pb.Dive) string { return strings.ReplaceAll(d.GetState(), "_", " ") }),
		),
		call(a, verb{use: "show DIVE", short: "Show a dive", args: []string{"id"}, example: "  lastlight dive show d-41"},
			c, pb.DiveServiceClient.GetDive, nil, detail),
		call(a, verb{
			use: "record [DIVE]", short: "Record a past dive without a plan, from a file", args: []string{"dive.id?"}, block: "dive", file: true,
			long: "Later dives within ten days need the gas of each diver (gas, other_gases with\n" +
				"deepest_m and minutes) or a profile; without a profile the dive counts as spent\nat its greatest depth. Without the gas no later dive can be judged.",
			example: "  lastlight dive record -f dive.yaml",
		}, c, pb.DiveServiceClient.RecordDive, nil, done[*pb.Dive]("Recorded.")),
		update(a, verb{
			use: "update DIVE", short: "Correct a recorded dive; the former record is kept", args: []string{"dive.id"}, block: "dive", file: true,
			example: "  lastlight dive update d-41 --max-depth-m 21.5",
		}, c, pb.DiveServiceClient.UpdateDive, func(id string) *pb.GetDiveRequest { return &pb.GetDiveRequest{Id: id} }, pb.DiveServiceClient.GetDive),
		a.showProfile(), a.readProfile(), a.writeProfile(),
		call(a, verb{use: "archive DIVE", short: "Take a wrong record out of the lists", args: []string{"id"}, example: "  lastlight dive archive d-41"},
			c, pb.DiveServiceClient.ArchiveDive, nil, done[*pb.Dive]("Archived.")),
	)
}
