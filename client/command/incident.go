package command

import (
	"cmp"
	"strconv"

	"github.com/spf13/cobra"

	"lastlight/client/screen"
	pb "lastlight/proto/lastlight/v1"
)

func (a *app) incident() *cobra.Command {
	c := pb.NewIncidentServiceClient
	return a.noun("incident", "What happened, without blame",
		call(a, verb{
			use: "report [INCIDENT]", short: "Report an incident; reporting never suspends you", args: []string{"incident.id?"}, block: "incident", file: true,
			example: "  lastlight incident report --site hollow-spring --happened-at 2026-06-02T11:20+02:00 --level 1 --types line \\\n" +
				"    --people ane --narrative \"diver 1 found the line loose behind the arch and tied it off\"",
		}, c, pb.IncidentServiceClient.ReportIncident, nil, done[*pb.Incident]("Reported.")),
		list(a, verb{use: "list", short: "List incidents", example: "  lastlight incident list --site hollow-spring"}, c, pb.IncidentServiceClient.ListIncidents,
			plain("id", (*pb.Incident).GetId), col("happened", func(w screen.View, i *pb.Incident) string {
				return cmp.Or(w.Time(i.GetHappenedAt(), i.GetSite()), i.GetHappenedDay())
			}),
			plain("site", (*pb.Incident).GetSite), plain("level", func(i *pb.Incident) string { return strconv.Itoa(int(i.GetLevel())) }),
			words("types", func(i *pb.Incident) string { return join(i.GetTypes()) }), plain("state", (*pb.Incident).GetState),
		),
		call(a, verb{use: "show INCIDENT", short: "Show an incident, as far as you may read", args: []string{"id"}, example: "  lastlight incident show i-7"},
			c, pb.IncidentServiceClient.GetIncident, nil, detail),
		update(a, verb{
			use: "update INCIDENT", short: "Make a new version; former ones are kept", args: []string{"incident.id"}, block: "incident", file: true,
			example: "  lastlight incident update i-7 --lessons \"tie-off checked on the way in\"",
		}, c, pb.IncidentServiceClient.UpdateIncident, func(id string) *pb.GetIncidentRequest { return &pb.GetIncidentRequest{Id: id} }, pb.IncidentServiceClient.GetIncident),
		call(a, verb{
			use: "review INCIDENT", short: "The wording for the club, without persons and place", args: []string{"id"},
			example: "  lastlight incident review i-7 --reviewed-narrative \"a line was found loose and tied off\"",
		}, c, pb.IncidentServiceClient.ReviewIncident, nil, done[*pb.Incident]("Reviewed.")),
		call(a, verb{use: "close INCIDENT", short: "Close an incident", args: []string{"id"}, example: "  lastlight incident close i-7"},
			c, pb.IncidentServiceClient.CloseIncident, nil, done[*pb.Incident]("Closed.")),
	)
}
