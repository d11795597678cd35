package command

import (
	"fmt"
	"strconv"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"lastlight/client/screen"
	pb "lastlight/proto/lastlight/v1"
)

func (a *app) policy() *cobra.Command {
	c := pb.NewPolicyServiceClient
	return a.noun("policy", "The club's rules in numbers, versioned",
		list(a, verb{use: "list", short: "List policies", example: "  lastlight policy list"}, c, pb.PolicyServiceClient.ListPolicies,
			plain("id", (*pb.Policy).GetId), plain("number", func(p *pb.Policy) string { return strconv.Itoa(int(p.GetNumber())) }),
			plain("state", (*pb.Policy).GetState), plain("in force from", (*pb.Policy).GetInForceFrom), plain("adopted by", (*pb.Policy).GetAdoptedBy),
			col("created", func(w screen.View, p *pb.Policy) string { return w.Time(p.GetCreatedAt(), "") }), words("reason", (*pb.Policy).GetReason),
		),
		call(a, verb{use: "show [POLICY]", short: "Show a policy, the one in force if none is named", args: []string{"id?"}, example: "  lastlight policy show 2026-spring"},
			c, pb.PolicyServiceClient.GetPolicy, nil, detail),
		call(a, verb{
			use: "create [POLICY]", short: "Enter a draft; policies never change, an edit is a new draft", args: []string{"policy.id?"}, block: "policy", file: true,
			long: "The file is the policy as `lastlight export policy` writes it below policy:, whole; with based_on, the cells that it changes are " +
				"enough. What cannot be used is shown all at once, with its line and column, in expressions of the club's own rules too.",
			example: "  lastlight policy create 2026-summer -f policy.yaml --reason \"minimum age 16 with consent\"",
		}, c, pb.PolicyServiceClient.CreatePolicy, nil, policyDone("Entered as a draft.")),
		call(a, verb{
			use: "compare POLICY", short: "What a policy would change: its cells, and every open plan", args: []string{"id"},
			long:    "Evaluates every open plan under both policies, the one in force if --against names no other. Changes nothing: read it before the policy is adopted.",
			example: "  lastlight policy compare 2026-summer\n  lastlight policy compare 2026-summer --against 2025-spring --json",
		}, c, pb.PolicyServiceClient.ComparePolicy, nil, screen.View.Comparison),
		a.past(),
		call(a, verb{
			use: "adopt POLICY", short: "Put a policy in force from a day on", args: []string{"id"},
			long:    "From today on, as the club counts days, or a later day, and for good. Approved plans that the change touches become stale.",
			example: "  lastlight policy adopt 2026-summer --in-force-from 2026-07-01",
		}, c, pb.PolicyServiceClient.AdoptPolicy, nil, policyDone("Adopted.")),
	)
}

// policyDone shows what was done to a policy, without its document of a thousand cells.
func policyDone(what string) func(screen.View, *pb.Policy) error {
	return func(w screen.View, m *pb.Policy) error {
		if w.Page {
			m = proto.CloneOf(m)
			m.Document = nil
		}
		if err := done[*pb.Policy](what)(w, m); err != nil || !w.Page {
			return err
		}
		_, err := fmt.Fprintf(w.Out, "The whole document: lastlight policy show %s. What it changes: lastlight policy compare %s.\n", m.GetId(), m.GetId())
		return err
	}
}

// past gathers the pages of what a policy would have said, and shows them as one.
func (a *app) past() *cobra.Command {
	type request = *pb.CompareDecidedPlansRequest
	cmd, build := command[request](a, verb{
		use: "past POLICY", short: "What a policy would have said of plans on record", args: []string{"id"}, skip: []string{"page_size", "page_token"},
		long: "Evaluates the stored input of each plan once more: under the policy of then and under this one. The records are those of then, " +
			"so that every difference is the policy's. Changes nothing. Days are those of the planned entry.",
		example: "  lastlight policy past 2026-summer\n  lastlight policy past 2026-summer --from-day 2025-01-01 --to-day 2025-12-31 --site grindle --json",
	})
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		req := &pb.CompareDecidedPlansRequest{}
		if err := build.request(cmd, args, req, nil); err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		all, more, err := pages(cmd.Context(), a, pb.NewPolicyServiceClient(conn), pb.PolicyServiceClient.CompareDecidedPlans, req, mostRows)
		if err != nil {
			return err
		}
		err = a.answer(cmd.Context(), all, func(w screen.View) error { return w.Past(all) })
		if more {
			a.note("there are more than %d plans: narrow the days or name a site", mostRows)
		}
		return err
	}
	return cmd
}
