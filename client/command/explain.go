package command

import (
	"fmt"

	"github.com/spf13/cobra"

	"lastlight/client/recordfile"
	"lastlight/client/screen"
	pb "lastlight/proto/lastlight/v1"
)

// explain shows the arithmetic behind a finding of the stored report, or of
// what the engine would say now.
func (a *app) explain() *cobra.Command {
	var now bool
	finding := ""
	show := func(w screen.View, r *pb.Report) error {
		if finding == "" {
			return w.Explainable(r)
		}
		return w.Explain(r, finding)
	}
	cmd := call(a, verb{
		use: "explain PLAN [FINDING]", short: "How the engine came to a finding, to be checked by hand", args: []string{"id"},
		long: "Every line names its inputs, where each of them is recorded, the formula and its source. FINDING is the number that " +
			"`plan report` shows, or the finding's key; without it, the findings are listed.",
		example: "  lastlight plan explain loop-1\n  lastlight plan explain loop-1 1 --version 2",
	}, pb.NewPlanServiceClient, pb.PlanServiceClient.GetReport, nil, show)
	stored := cmd.RunE
	cmd.Args = arity(1, 2)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if len(args) == 2 {
			finding = args[1]
		}
		if !now {
			return stored(cmd, args[:1])
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		asked := &pb.EvaluatePlanRequest{Id: args[0]}
		if version := cmd.Flags().Lookup("version"); version.Changed {
			if err := recordfile.Set(asked, "version", version.Value.String()); err != nil {
				return usage(cmd, fmt.Errorf("--version: %w", err))
			}
		}
		r, err := pb.NewPlanServiceClient(conn).EvaluatePlan(cmd.Context(), asked)
		if err != nil {
			return err
		}
		return a.answer(cmd.Context(), r, func(w screen.View) error { return show(w, r) })
	}
	cmd.Flags().BoolVar(&now, "now", false, "explain what the engine would say now, not the stored report")
	return cmd
}
