package command

import (
	"context"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"lastlight/client/exit"
	"lastlight/client/recordfile"
	"lastlight/client/screen"
	pb "lastlight/proto/lastlight/v1"
)

func (a *app) plan() *cobra.Command {
	c := pb.NewPlanServiceClient
	get := func(id string) *pb.GetPlanRequest { return &pb.GetPlanRequest{Id: id} }
	return a.noun("plan", "What a team means to do, what the rules say, who decided",
		list(a, verb{use: "list", short: "List plans", example: "  lastlight plan list --states submitted --site hollow-spring"}, c, pb.PlanServiceClient.ListPlans,
			plain("id", (*pb.Plan).GetId), plain("version", func(p *pb.Plan) string { return strconv.Itoa(int(p.GetVersion())) }),
			plain("state", planState), plain("site", (*pb.Plan).GetSite),
			col("entry", func(w screen.View, p *pb.Plan) string { return w.Time(p.GetPlannedEntry(), p.GetSite()) }),
			words("team", func(p *pb.Plan) string {
				var names []string
				for _, d := range p.GetTeam() {
					names = append(names, d.GetPerson())
				}
				return join(names)
			}),
		),
		call(a, verb{use: "show PLAN", short: "Show a plan, the latest version if none is named", args: []string{"id"}, example: "  lastlight plan show loop-1 --version 2"},
			c, pb.PlanServiceClient.GetPlan, nil, detail),
		call(a, verb{
			use: "create [PLAN]", short: "Enter a plan, from a file", args: []string{"plan.id?"}, block: "plan", file: true,
			example: "  lastlight plan create loop-1 -f loop.yaml",
		}, c, pb.PlanServiceClient.CreatePlan, nil, done[*pb.Plan]("Entered as a draft.")),
		update(a, verb{
			use: "update PLAN", short: "Make a new version; it is a draft again", args: []string{"plan.id"}, block: "plan", file: true,
			example: "  lastlight plan update loop-1 -f loop.yaml\n  lastlight plan update loop-1 --cover grete",
		}, c, pb.PlanServiceClient.UpdatePlan, get, pb.PlanServiceClient.GetPlan),
		call(a, verb{use: "archive PLAN", short: "Take a plan out of the lists", args: []string{"id"}, example: "  lastlight plan archive loop-1"},
			c, pb.PlanServiceClient.ArchivePlan, nil, done[*pb.Plan]("Archived.")),
		evaluation(a, "check", "Evaluate what stands now; changes nothing", "  lastlight plan check loop-1", pb.PlanServiceClient.EvaluatePlan, true),
		a.submit(),
		evaluation(a, "report", "The stored report of a version", "  lastlight plan report loop-1 --steps", pb.PlanServiceClient.GetReport, false),
		a.explain(),
		a.evidence(),
		a.approve(),
		call(a, verb{
			use: "refuse PLAN", short: "Refuse a version of a plan", args: []string{"id"}, example: "  lastlight plan refuse loop-1 --reason \"no cover that day\"",
			long: "Refuses the version whose report you read last; --version names another.",
		}, c, pb.PlanServiceClient.RefusePlan, func(ctx context.Context, _ *cobra.Command, r *pb.RefusePlanRequest) error {
			var err error
			r.Version, err = a.versionRead(ctx, "refuse", r.GetId(), r.GetVersion())
			return err
		}, a.decided("Refused.")),
		call(a, verb{
			use: "waive PLAN", short: "Waive a finding that your role may waive", args: []string{"id"},
			example: "  lastlight plan waive loop-1 --finding lights.count/ane --reason \"third light lent by cover\" \\\n    --conditions \"lit at the start\"",
			long:    "Waives in the version whose report you read last; --version names another. The finding is named by its key, or by the number that this report shows.",
		}, c, pb.PlanServiceClient.WaiveFinding, func(ctx context.Context, _ *cobra.Command, r *pb.WaiveFindingRequest) error {
			var err error
			if r.Version, err = a.versionRead(ctx, "waive", r.GetId(), r.GetVersion()); err != nil {
				return err
			}
			return a.numberToKey(ctx, r)
		}, a.decided("Waived.")),
		call(a, verb{
			use: "countersign PLAN WAIVER", short: "Sign a waiver as its second approver", args: []string{"id", "waiver"}, example: "  lastlight plan countersign loop-1 w-3",
		}, c, pb.PlanServiceClient.CountersignWaiver, nil, a.decided("Countersigned.")),
		call(a, verb{
			use: "acknowledge PLAN VERSION", short: "Say that you have read this version and agree to it", args: []string{"id", "version"}, example: "  lastlight plan acknowledge loop-1 3",
			long: "For whoever dives, stands by or covers. The version is the one on the brief; it has to be the plan's own. Another version is acknowledged anew.",
		}, c, pb.PlanServiceClient.AcknowledgePlan, nil, done[*pb.Plan]("Acknowledged.")),
		call(a, verb{use: "withdraw PLAN", short: "Withdraw a plan", args: []string{"id"}, example: "  lastlight plan withdraw loop-1 --reason \"site flooded\""},
			c, pb.PlanServiceClient.WithdrawPlan, nil, done[*pb.Plan]("Withdrawn.")),
		list(a, verb{use: "decisions PLAN", short: "Who decided what on a plan", args: []string{"plan"}, example: "  lastlight plan decisions loop-1"}, c, pb.PlanServiceClient.ListDecisions,
			col("at", func(w screen.View, d *pb.Decision) string { return w.Time(d.GetDecidedAt(), "") }),
			plain("version", func(d *pb.Decision) string { return strconv.Itoa(int(d.GetPlanVersion())) }),
			plain("decision", (*pb.Decision).GetDecision), plain("by", (*pb.Decision).GetDecidedBy),
			words("reason", (*pb.Decision).GetReason), words("conditions", func(d *pb.Decision) string { return strings.Join(d.GetConditions(), "; ") }),
		),
		call(a, verb{
			use: "brief PLAN", short: "The page for the water's edge", args: []string{"id"}, example: "  lastlight plan brief loop-1 > brief.txt",
			long: "Prints the page as the server made it, in the units of the setting. Ends with 1 where it must not be dived on.",
			skip: []string{"units"},
		}, c, pb.PlanServiceClient.GetBrief, func(_ context.Context, _ *cobra.Command, r *pb.GetBriefRequest) error {
			r.Units = a.settings.Units
			return nil
		}, func(w screen.View, b *pb.Brief) error {
			if _, err := fmt.Fprintln(w.Out, strings.TrimRight(screen.Clean(b.GetText()), "\n")); err != nil {
				return err
			}
			if !b.GetValid() {
				return exit.Silent(exit.Refused)
			}
			return nil
		}),
	)
}

func planState(p *pb.Plan) string {
	if p.GetState() == pb.PlanState_PLAN_STATE_UNSPECIFIED {
		return ""
	}
	return strings.ReplaceAll(recordfile.EnumWord(p.GetState().Descriptor().Values().ByNumber(p.GetState().Number())), "_", " ")
}

// planSite finds the site of a plan, for the zone of its times; "" where it cannot be told.
func (a *app) planSite(ctx context.Context, id string) string {
	conn, err := a.dial()
	if err != nil {
		return ""
	}
	p, err := pb.NewPlanServiceClient(conn).GetPlan(ctx, &pb.GetPlanRequest{Id: id})
	if err != nil {
		return ""
	}
	return p.GetSite()
}

// submit evaluates and stores; a plan that a rule refuses ends with 1.
func (a *app) submit() *cobra.Command {
	var o screen.ReportOptions
	cmd := call(a, verb{
		use: "submit PLAN", short: "Freeze a version, evaluate it and store the report", args: []string{"id"},
		long:    "Ends with 1 where a rule refuses, something is not known, or a waiver is needed.",
		example: "  lastlight plan submit loop-1",
	}, pb.NewPlanServiceClient, pb.PlanServiceClient.SubmitPlan,
		func(_ context.Context, cmd *cobra.Command, r *pb.SubmitPlanRequest) error {
			return setVersion(cmd, "expected-version", func(v int32) { r.ExpectedVersion = v })
		},
		func(w screen.View, r *pb.SubmitPlanResponse) error {
			a.remember(r.GetReport())
			o.Site = r.GetPlan().GetSite()
			if err := w.Report(r.GetReport(), o); err != nil {
				return err
			}
			return screen.Outcome(r.GetReport())
		})
	cmd.Flags().Int32("expected-version", 0, "submit only if this is still the version")
	reportFlags(cmd, &o)
	return cmd
}

func setVersion(cmd *cobra.Command, flag string, set func(int32)) error {
	v, err := cmd.Flags().GetInt32(flag)
	if err == nil && v < 0 {
		err = fmt.Errorf("--%s %d: at least 1", flag, v)
	}
	if err != nil {
		return usage(cmd, err)
	}
	set(v)
	return nil
}

func reportFlags(cmd *cobra.Command, o *screen.ReportOptions) {
	cmd.Flags().BoolVar(&o.All, "all", false, "show what passed as well")
	cmd.Flags().BoolVar(&o.Steps, "steps", false, "show the arithmetic of each finding")
}

// evaluation shows a report. What was shown is remembered: approve takes that one.
func evaluation[R message](a *app, use, short, example string, m method[pb.PlanServiceClient, R, *pb.Report], outcome bool) *cobra.Command {
	var o screen.ReportOptions
	hash := false
	var cmd *cobra.Command
	cmd = call(a, verb{use: use + " PLAN", short: short, args: []string{"id"}, example: example}, pb.NewPlanServiceClient, m, nil,
		func(w screen.View, r *pb.Report) error {
			a.remember(r)
			if hash {
				_, err := fmt.Fprintln(w.Out, r.GetHash())
				return err
			}
			if w.Page {
				o.Site = a.planSite(cmd.Context(), r.GetPlan())
			}
			if err := w.Report(r, o); err != nil {
				return err
			}
			if outcome {
				return screen.Outcome(r)
			}
			return nil
		})
	reportFlags(cmd, &o)
	if !outcome {
		cmd.Flags().BoolVar(&hash, "only-hash", false, "print the report's hash and nothing else")
	}
	return cmd
}

func (a *app) evidence() *cobra.Command {
	return call(a, verb{
		use: "evidence PLAN", short: "The engine's input and report, byte for byte, as one file", args: []string{"id"},
		long: "Writes what the last decision about the version rests on, else its last evaluation. `lastlightd evaluate FILE` runs the " +
			"engine on it again and says whether the report is the same, byte for byte. People stand in it under pseudonyms.",
		example: "  lastlight plan evidence loop-1 --version 2 > evidence.json",
	}, pb.NewPlanServiceClient, pb.PlanServiceClient.GetEvidence, nil, func(w screen.View, e *pb.Evidence) error {
		_, err := fmt.Fprintf(w.Out, "{\"plan\":%s,\"plan_version\":%d,\"hash\":%s,\n\"input\":%s,\n\"report\":%s}\n",
			quoted(e.GetPlan()), e.GetPlanVersion(), quoted(e.GetHash()), orNull(e.GetInput()), orNull(e.GetReport()))
		return err
	})
}

func quoted(s string) []byte {
	b, _ := json.Marshal(s) // a string always can be
	return b
}

func orNull(document []byte) []byte {
	if len(document) == 0 {
		return []byte("null")
	}
	return document
}

// numberToKey turns the number of a finding into its key, by the stored report of that version.
func (a *app) numberToKey(ctx context.Context, r *pb.WaiveFindingRequest) error {
	if _, err := strconv.Atoi(r.GetFinding()); err != nil {
		return nil //nolint:nilerr // it is a key
	}
	conn, err := a.dial()
	if err != nil {
		return err
	}
	report, err := pb.NewPlanServiceClient(conn).GetReport(ctx, &pb.GetReportRequest{Id: r.GetId(), Version: r.GetVersion()})
	if err != nil {
		return err
	}
	_, f, err := screen.Pick(report, r.GetFinding())
	if err != nil {
		return err
	}
	r.Finding = f.GetKey()
	return nil
}
