package command

import (
	"github.com/spf13/cobra"

	pb "lastlight/proto/lastlight/v1"
)

func (a *app) permit() *cobra.Command {
	c := pb.NewSiteServiceClient
	return a.noun("permit", "Days and hours in which the owner allows diving",
		list(a, verb{use: "list", short: "List permits", example: "  lastlight permit list --site hollow-spring"}, c, pb.SiteServiceClient.ListPermits,
			plain("id", (*pb.Permit).GetId), plain("site", (*pb.Permit).GetSite), plain("from", (*pb.Permit).GetFromDay), plain("to", (*pb.Permit).GetToDay),
			plain("daily from", (*pb.Permit).GetDailyFrom), plain("daily to", (*pb.Permit).GetDailyTo), words("granted by", (*pb.Permit).GetGrantedBy),
		),
		call(a, verb{use: "show PERMIT", short: "Show a permit", args: []string{"id"}, example: "  lastlight permit show june-2026"},
			c, pb.SiteServiceClient.GetPermit, nil, detail),
		call(a, verb{
			use: "create [PERMIT]", short: "Enter a permit", args: []string{"permit.id?"}, block: "permit", file: true,
			example: "  lastlight permit create june-2026 --site hollow-spring --from-day 2026-06-01 --to-day 2026-06-14 \\\n    --daily-from 08:00 --daily-to 20:00",
		}, c, pb.SiteServiceClient.CreatePermit, nil, done[*pb.Permit]("Entered.")),
		update(a, verb{
			use: "update PERMIT", short: "Change fields of a permit", args: []string{"permit.id"}, block: "permit", file: true,
			example: "  lastlight permit update june-2026 --to-day 2026-06-20",
		}, c, pb.SiteServiceClient.UpdatePermit, func(id string) *pb.GetPermitRequest { return &pb.GetPermitRequest{Id: id} }, pb.SiteServiceClient.GetPermit),
		call(a, verb{use: "archive PERMIT", short: "Take a permit out of use", args: []string{"id"}, example: "  lastlight permit archive june-2026"},
			c, pb.SiteServiceClient.ArchivePermit, nil, done[*pb.Permit]("Archived.")),
	)
}
