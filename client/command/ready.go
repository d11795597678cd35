package command

import (
	"github.com/spf13/cobra"

	"lastlight/client/screen"
	pb "lastlight/proto/lastlight/v1"
)

func (a *app) ready() *cobra.Command {
	return call(a, verb{
		use: "ready [PERSON]", short: "Am I good to go? Yes or no, why, and what to do", args: []string{"person?"},
		long: "Answers for a day, a site or a plan, and beside it for the last day of an\n" +
			"expedition. Ends with 0 for yes, on both days where two are asked, and 1 for no.",
		example: "  lastlight ready --day 2026-06-07 --site hollow-spring\n  lastlight ready ane --plan loop-1\n" +
			"  lastlight ready --expedition june-2026",
	}, pb.NewRosterServiceClient, pb.RosterServiceClient.CheckGoodToGo, nil, screen.View.Ready)
}
