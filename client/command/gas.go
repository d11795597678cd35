package command

import (
	"strings"

	"github.com/spf13/cobra"

	"lastlight/client/screen"
	"lastlight/client/units"
	pb "lastlight/proto/lastlight/v1"
)

func (a *app) fill() *cobra.Command {
	c := pb.NewGearServiceClient
	verbs := []*cobra.Command{
		call(a, verb{
			use: "record CYLINDER", short: "Record a fill", args: []string{"fill.cylinder"}, block: "fill", file: true,
			example: "  lastlight fill record c-12-1 --filled-at now --pressure 220bar --intended 32 --source \"compressor 2\"",
		}, c, pb.GearServiceClient.RecordFill, nil, done[*pb.Fill]("Recorded.")),
		list(a, verb{use: "list", short: "List fills, latest first", example: "  lastlight fill list --cylinder c-12-1"}, c, pb.GearServiceClient.ListFills,
			plain("cylinder", (*pb.Fill).GetCylinder), col("filled at", func(w screen.View, f *pb.Fill) string { return w.Time(f.GetFilledAt(), "") }),
			col("pressure", func(w screen.View, f *pb.Fill) string { return w.Units.Pressure(f.GetPressure()) }),
			plain("intended", func(f *pb.Fill) string { return units.Mix(f.GetIntended()) }),
			plain("top-up", func(f *pb.Fill) string { return yes(f.GetTopUp()) }),
			plain("by", (*pb.Fill).GetFilledBy), words("source", (*pb.Fill).GetSource), plain("id", (*pb.Fill).GetId),
		),
	}
	return a.noun("fill", "Fills: record, list, blend, plan; a top-up is a fill", append(verbs, a.fillStation()...)...)
}

func (a *app) analysis() *cobra.Command {
	c := pb.NewGearServiceClient
	return a.noun("analysis", "Analyses of what is in a cylinder",
		call(a, verb{
			use: "record CYLINDER", short: "Record an analysis; a serial that names two cylinders is refused", args: []string{"analysis.cylinder"}, block: "analysis", file: true,
			example: "  lastlight analysis record c-12-1 --analysed-at now --oxygen-percent 32.4 --analysed-by ane --pressure 215bar",
		}, c, pb.GearServiceClient.RecordAnalysis, nil, done[*pb.Analysis]("Recorded.")),
		list(a, verb{use: "list", short: "List analyses, latest first", example: "  lastlight analysis list --cylinder c-12-1"}, c, pb.GearServiceClient.ListAnalyses,
			plain("cylinder", (*pb.Analysis).GetCylinder), col("analysed at", func(w screen.View, x *pb.Analysis) string { return w.Time(x.GetAnalysedAt(), "") }),
			plain("gas", func(x *pb.Analysis) string {
				if x.GetHeliumPercent() == "" {
					return x.GetOxygenPercent() + " %"
				}
				return x.GetOxygenPercent() + "/" + x.GetHeliumPercent() + " %"
			}),
			plain("by", (*pb.Analysis).GetAnalysedBy), words("label", (*pb.Analysis).GetLabel),
			words("ended by", func(x *pb.Analysis) string { return strings.ReplaceAll(x.GetEndedBy(), "_", " ") }), plain("id", (*pb.Analysis).GetId),
		),
	)
}
