package screen

import (
	"testing"

	"lastlight/client/exit"
	pb "lastlight/proto/lastlight/v1"
)

func TestComparison(t *testing.T) {
	cite := &pb.Citation{Document: "club rules", Edition: "2026", Section: "2.2", DateRead: "2026-01-10"}
	x := &pb.PolicyComparison{
		Id: "2026-summer", Against: "2025-spring", EngineVersion: "1", PlansCompared: 3,
		Cells: []*pb.PolicyCellChange{
			{Path: "ladder[INT].max_depth_m", Before: "30", After: "28", Citation: cite},
			{Path: "kit[cutter].clocks[service].months", After: "12"},
		},
		Plans: []*pb.PolicyPlanChange{
			{
				Plan: "loop-1", Version: 2, State: pb.PlanState_PLAN_STATE_SUBMITTED, Site: "hollow-spring", PlannedEntry: at(10, 0), VerdictBefore: "needs_waiver", VerdictAfter: "refuse",
				Standings: []*pb.StandingChange{{Person: "ane", Before: "FULL"}},
				Findings: []*pb.FindingChange{
					{Before: &pb.Finding{Rule: "level.depth", Status: "pass", Message: "29 m of at most 30 m"}, After: &pb.Finding{Rule: "level.depth", Status: "refuse", Message: "29 m of at most 28 m", Citation: cite}},
					{Before: &pb.Finding{Rule: "level.visibility", Status: "needs_waiver", Message: "2 m of at least 3 m", Citation: cite}},
				},
			},
			{Plan: "loop-2", Version: 1, State: pb.PlanState_PLAN_STATE_DRAFT, Site: "hollow-spring", PlannedEntry: at(11, 0), NotEvaluated: "time zone \"Nowhere\": unknown"},
		},
	}
	screens(t, "comparison", func(w View) error { return w.Comparison(x) }, exit.Done)
}

func TestPast(t *testing.T) {
	x := &pb.CompareDecidedPlansResponse{
		Id: "2026-summer", EngineVersion: "3",
		Plans: []*pb.DecidedPlanChange{
			{
				Plan: "loop-1", Version: 2, Site: "hollow-spring", PlannedEntry: at(10, 0), Moment: "entry", PolicyThen: "2025-spring", EngineThen: "2",
				VerdictThen: "pass", VerdictBefore: "caution", VerdictAfter: "refuse",
				Standings: []*pb.StandingChange{{Person: "ane", Before: "FULL"}},
				Findings: []*pb.FindingChange{
					{After: &pb.Finding{Rule: "level.depth", Status: "refuse", Message: "29 m of at most 28 m"}},
					{After: &pb.Finding{Rule: "own.reels", Status: "pass", Message: "in order"}},
					{After: &pb.Finding{Rule: "own.reels", Status: "pass", Message: "in order"}},
					{After: &pb.Finding{Rule: "own.standby", Status: "caution", Message: "nobody stands by"}},
					{Before: &pb.Finding{Rule: "own.former", Status: "not_applicable", Message: "not asked for"}},
				},
			},
			{
				Plan: "loop-2", Version: 1, Site: "hollow-spring", PlannedEntry: at(11, 0), Moment: "planning", PolicyThen: "2025-spring", EngineThen: "3",
				VerdictThen: "pass", VerdictBefore: "pass", VerdictAfter: "pass", ReadsFurther: true,
				Findings: []*pb.FindingChange{{Before: &pb.Finding{Rule: "site.permit", Status: "pass", Message: "in order"}}},
			},
			{Plan: "loop-3", Version: 1, Site: "hollow-spring", PlannedEntry: at(12, 0), Moment: "planning", VerdictThen: "pass", VerdictBefore: "pass", VerdictAfter: "pass"},
			{Plan: "loop-4", Version: 1, Site: "hollow-spring", PlannedEntry: at(13, 0), Moment: "planning", PolicyThen: "2025-spring", EngineThen: "1", VerdictThen: "refuse", NotEvaluated: "what is stored of it cannot be read by this engine"},
		},
	}
	screens(t, "past", func(w View) error { return w.Past(x) }, exit.Done)
	screens(t, "past-none", func(w View) error {
		return w.Past(&pb.CompareDecidedPlansResponse{Id: "2026-summer", EngineVersion: "3"})
	}, exit.Done)
}
