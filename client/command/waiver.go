package command

import (
	"strings"

	"github.com/spf13/cobra"

	"lastlight/client/screen"
	pb "lastlight/proto/lastlight/v1"
)

func (a *app) waiver() *cobra.Command {
	c := pb.NewPlanServiceClient
	return a.noun("waiver", "What was waived, by whom, and what of it still stands",
		list(a, verb{
			use: "list", short: "List waivers, latest first", example: "  lastlight waiver list --state standing\n  lastlight waiver list --since 2026-06-01 --search visibility\n  lastlight waiver list --site hollow-spring --rule level.visibility",
			long: "States: standing; waiting (for its second approver); lapsed (its time has run out); withdrawn; spent (the plan has another version, or is over).",
		}, c, pb.PlanServiceClient.ListWaivers,
			col("waived at", func(w screen.View, x *pb.Waiver) string { return w.Time(x.GetWaivedAt(), x.GetSite()) }),
			plain("state", (*pb.Waiver).GetState), plain("plan", (*pb.Waiver).GetPlan), plain("site", (*pb.Waiver).GetSite),
			plain("rule", (*pb.Waiver).GetRule), words("what", (*pb.Waiver).GetSaid), plain("by", (*pb.Waiver).GetWaivedBy), plain("second", (*pb.Waiver).GetSecondApprover),
			col("until", func(w screen.View, x *pb.Waiver) string { return w.Time(x.GetExpiresAt(), x.GetSite()) }),
			words("conditions", func(x *pb.Waiver) string { return strings.Join(x.GetConditions(), "; ") }), words("reason", (*pb.Waiver).GetReason), plain("id", (*pb.Waiver).GetId),
		),
		call(a, verb{
			use: "withdraw PLAN WAIVER", short: "Take a waiver back; an approved plan goes stale", args: []string{"id", "waiver"},
			example: "  lastlight waiver withdraw loop-1 7c3e… --reason \"the third light is not there\"",
		}, c, pb.PlanServiceClient.WithdrawWaiver, nil, a.decided("Withdrawn.")),
	)
}
