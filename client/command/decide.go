package command

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"lastlight/client/exit"
	"lastlight/client/screen"
	pb "lastlight/proto/lastlight/v1"
)

// seen is the report of a plan that this user was shown last.
type seen struct {
	version int32
	hash    string
}

// seenPath is where that is kept: apart for each server, token and plan, so
// that nobody approves what somebody else has read.
func (a *app) seenPath(plan string) string {
	dir := a.Env("XDG_STATE_HOME")
	if !filepath.IsAbs(dir) {
		if a.Env("HOME") == "" {
			return ""
		}
		dir = filepath.Join(a.Env("HOME"), ".local", "state")
	}
	key := sha256.Sum256([]byte(a.settings.Server + "\x00" + a.settings.TokenFile + "\x00" + plan))
	return filepath.Join(dir, "lastlight", "seen", hex.EncodeToString(key[:12]))
}

// remember keeps which report was shown. Where it cannot be kept, approve asks for --report-hash.
func (a *app) remember(r *pb.Report) { a.keepSeen(r.GetPlan(), seen{r.GetPlanVersion(), r.GetHash()}) }

func (a *app) keepSeen(what string, s seen) {
	path := a.seenPath(what)
	if path == "" || s.hash == "" {
		return
	}
	if os.MkdirAll(filepath.Dir(path), 0o700) == nil {
		_ = os.WriteFile(path, []byte(fmt.Sprintf("%d %s\n", s.version, s.hash)), 0o600) // See above.
	}
}

func (a *app) recall(plan string) (seen, bool) {
	raw, err := os.ReadFile(a.seenPath(plan))
	if err != nil {
		return seen{}, false
	}
	version, hash, ok := strings.Cut(strings.TrimSpace(string(raw)), " ")
	v, err := strconv.ParseInt(version, 10, 32)
	return seen{int32(v), hash}, ok && err == nil && v > 0
}

// unread is why nobody goes on who has not read a report: that this is not theirs to do, for then there is nothing to read for;
// else what to read.
func (a *app) unread(ctx context.Context, what, plan, next string) error {
	conn, err := a.dial()
	if err != nil {
		return err
	}
	p, err := pb.NewPlanServiceClient(conn).GetPlan(ctx, &pb.GetPlanRequest{Id: plan})
	if err != nil {
		return err
	}
	if slices.Contains(p.GetNotYours(), what) {
		return exit.Errorf(exit.NotAllowed, "you may not %s %s: none of your roles lets you, or you take part in the dive; somebody who takes no part decides", what, plan)
	}
	return exit.Errorf(exit.Usage, "you have not read the report of %s: `lastlight plan report %s`, then %s", plan, plan, next)
}

// versionRead is the version named, or that of the report read last.
func (a *app) versionRead(ctx context.Context, what, plan string, named int32) (int32, error) {
	if named != 0 {
		return named, nil
	}
	last, ok := a.recall(plan)
	if !ok {
		return 0, a.unread(ctx, what, plan, "decide (or name the version with --version)")
	}
	return last.version, nil
}

// approve sends the hash of the report that was read: the server decides on
// that one, or on nothing.
func (a *app) approve() *cobra.Command {
	return call(a, verb{
		use: "approve PLAN", short: "Approve a plan on the report you read", args: []string{"id"},
		long: `Approves exactly the report that ` + "`plan report`, `plan check` or `plan submit`" + ` showed you last;
--version and --report-hash name another. If anything it rests on has changed
meanwhile, nothing is decided. Ends with 1 where a finding blocks.`,
		example: "  lastlight plan report loop-1\n  lastlight plan approve loop-1 --note \"with today's reading\"",
	}, pb.NewPlanServiceClient, pb.PlanServiceClient.ApprovePlan, func(ctx context.Context, _ *cobra.Command, r *pb.ApprovePlanRequest) error {
		last, ok := a.recall(r.GetId())
		if ok && r.GetVersion() == 0 && r.GetReportHash() == "" {
			r.Version, r.ReportHash = last.version, last.hash
		}
		if ok && r.GetVersion() == last.version && r.GetReportHash() == "" {
			r.ReportHash = last.hash
		}
		if ok && r.GetVersion() == 0 && r.GetReportHash() == last.hash {
			r.Version = last.version
		}
		if r.GetVersion() == 0 || r.GetReportHash() == "" {
			return a.unread(ctx, "approve", r.GetId(), "approve it (or name it with --version and --report-hash)")
		}
		return nil
	}, a.decided("Approved."))
}

// decided shows the outcome of a decision; "not decided" is an answer, with the reason.
func (a *app) decided(what string) func(screen.View, *pb.DecideResponse) error {
	return func(w screen.View, r *pb.DecideResponse) error {
		if r.GetDecided() {
			return showDecision(w, what, r)
		}
		if w.Page {
			if _, err := fmt.Fprintf(w.Out, "NOT DECIDED: %s\n", strings.ReplaceAll(r.GetNotDecided(), "_", " ")); err != nil {
				return err
			}
		}
		if err := w.Detail(&pb.DecideResponse{NotDecided: r.GetNotDecided(), Explanation: r.GetExplanation()}); err != nil {
			return err
		}
		if r.GetReport() != nil {
			if w.Page {
				if _, err := fmt.Fprintln(w.Out); err != nil {
					return err
				}
			}
			if err := w.Report(r.GetReport(), screen.ReportOptions{Site: r.GetPlan().GetSite()}); err != nil {
				return err
			}
		}
		if r.GetNotDecided() == "report_changed" || r.GetNotDecided() == "conflict" {
			return exit.Silent(exit.Conflict)
		}
		return exit.Silent(exit.Refused)
	}
}

func showDecision(w screen.View, what string, r *pb.DecideResponse) error {
	if w.Page {
		if _, err := fmt.Fprintf(w.Out, "%s  Plan %s, version %d, is %s.\n", what, r.GetPlan().GetId(), r.GetPlan().GetVersion(), planState(r.GetPlan())); err != nil {
			return err
		}
	}
	if err := w.DetailAt(r.GetPlan().GetSite(), r.GetDecision()); err != nil || !w.Page {
		return err
	}
	for _, x := range r.GetPlan().GetWaivers() {
		if x.GetState() != "waiting" {
			continue
		}
		text := fmt.Sprintf("The waiver of %s counts once a second approver has signed it:", x.GetRule())
		if _, err := fmt.Fprintf(w.Out, "\n%s\n  lastlight plan countersign %s %s\n", screen.Hang(screen.Clean(text), 0), x.GetPlan(), x.GetId()); err != nil {
			return err
		}
	}
	return nil
}

func (a *app) stopAll() *cobra.Command {
	return call(a, verb{
		use: "stop-all", short: "Stop all dives: every approved plan becomes stale at once",
		example: "  lastlight stop-all --reason \"storm\" --expedition june-2026",
	}, pb.NewPlanServiceClient, pb.PlanServiceClient.StopAllDives, nil, func(w screen.View, r *pb.StopAllDivesResponse) error {
		if w.Page {
			if _, err := fmt.Fprintf(w.Out, "STOPPED. Approved plans made stale: %d. Teams in the water are on `lastlight board`.\n", len(r.GetPlansMadeStale())); err != nil {
				return err
			}
		}
		return w.Detail(r)
	})
}
