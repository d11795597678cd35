package command

import (
	"strconv"

	"github.com/spf13/cobra"

	"lastlight/client/screen"
	pb "lastlight/proto/lastlight/v1"
)

func (a *app) expedition() *cobra.Command {
	c := pb.NewExpeditionServiceClient
	return a.noun("expedition", "Expeditions: dates, sites, participants",
		list(a, verb{use: "list", short: "List expeditions", example: "  lastlight expedition list --search june"}, c, pb.ExpeditionServiceClient.ListExpeditions,
			plain("id", (*pb.Expedition).GetId), words("title", (*pb.Expedition).GetTitle), plain("from", (*pb.Expedition).GetFromDay), plain("to", (*pb.Expedition).GetToDay),
			words("sites", func(e *pb.Expedition) string { return join(e.GetSites()) }),
			plain("people", func(e *pb.Expedition) string { return strconv.Itoa(len(e.GetParticipants())) }),
		),
		call(a, verb{use: "show EXPEDITION", short: "Show an expedition", args: []string{"id"}, example: "  lastlight expedition show june-2026"},
			c, pb.ExpeditionServiceClient.GetExpedition, nil, detail),
		call(a, verb{
			use: "who EXPEDITION", short: "Who can dive where on which day, and the first reason why not", args: []string{"id"},
			example: "  lastlight expedition who june-2026",
		}, c, pb.ExpeditionServiceClient.GetEligibility, nil, screen.View.Eligibility),
		call(a, verb{
			use: "create [EXPEDITION]", short: "Enter an expedition", args: []string{"expedition.id?"}, block: "expedition", file: true,
			example: "  lastlight expedition create june-2026 --title \"June week\" --from-day 2026-06-01 --to-day 2026-06-07 --sites hollow-spring",
		}, c, pb.ExpeditionServiceClient.CreateExpedition, nil, done[*pb.Expedition]("Entered.")),
		update(a, verb{
			use: "update EXPEDITION", short: "Change fields of an expedition", args: []string{"expedition.id"}, block: "expedition", file: true,
			example: "  lastlight expedition update june-2026 --to-day 2026-06-08",
		}, c, pb.ExpeditionServiceClient.UpdateExpedition, func(id string) *pb.GetExpeditionRequest { return &pb.GetExpeditionRequest{Id: id} }, pb.ExpeditionServiceClient.GetExpedition),
		call(a, verb{use: "archive EXPEDITION", short: "Take an expedition out of use", args: []string{"id"}, example: "  lastlight expedition archive june-2026"},
			c, pb.ExpeditionServiceClient.ArchiveExpedition, nil, done[*pb.Expedition]("Archived.")),
	)
}
