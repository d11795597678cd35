package command

import (
	"strconv"

	"github.com/spf13/cobra"

	"lastlight/client/screen"
	pb "lastlight/proto/lastlight/v1"
)

func (a *app) survey() *cobra.Command {
	c := pb.NewSiteServiceClient
	return a.noun("survey", "Line networks of a site, numbered, never changed",
		list(a, verb{
			use: "list SITE", short: "List the surveys of a site", args: []string{"site"}, example: "  lastlight survey list hollow-spring",
		}, c, pb.SiteServiceClient.ListSurveys,
			plain("site", (*pb.Survey).GetSite), plain("number", func(s *pb.Survey) string { return strconv.Itoa(int(s.GetNumber())) }),
			plain("surveyed", (*pb.Survey).GetSurveyedDay), words("by", (*pb.Survey).GetSurveyedBy),
			col("recorded", func(w screen.View, s *pb.Survey) string { return w.Time(s.GetRecordedAt(), s.GetSite()) }),
		),
		call(a, verb{
			use: "show SITE [NUMBER]", short: "Show a survey, the latest if no number is given", args: []string{"site", "number?"},
			example: "  lastlight survey show hollow-spring 2",
		}, c, pb.SiteServiceClient.GetSurvey, nil, detail),
		call(a, verb{
			use: "create [SITE]", short: "Add a survey from a file", args: []string{"survey.site?"}, block: "survey", file: true,
			example: "  lastlight survey create -f survey.yaml",
		}, c, pb.SiteServiceClient.CreateSurvey, nil, done[*pb.Survey]("Added.")),
		call(a, verb{
			use: "damage SITE", short: "Report line damage or a change seen: ends what was verified there", args: []string{"damage.site"}, block: "damage",
			skip: []string{"id", "reported_by"}, example: "  lastlight survey damage hollow-spring --legs l4 --legs l5 --seen-at now --what \"line cut on the rock\"",
		}, c, pb.SiteServiceClient.ReportLineDamage, nil, done[*pb.LineDamage]("Reported.")),
	)
}
