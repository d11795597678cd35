package decide

import (
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/engine"
	"lastlight/engine/finding"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/store"
)

// A waiver speaks for what was measured when it was given, and for nothing worse.
func TestWaiverCoversWhatWasMeasured(t *testing.T) {
	t.Parallel()
	seen := func(metres float64) *finding.Finding {
		o, l, s := finding.Number("", metres, 2, "m"), finding.Number("", 5, 2, "m"), finding.Number("", 5-metres, 2, "m")
		return &finding.Finding{
			Rule: "level.visibility", Status: finding.NeedsWaiver, Code: "low", Subject: finding.Subject{Kind: finding.KindSite, ID: "spring"},
			Observed: &o, Limit: &l, Shortfall: &s, Message: "low", Waiver: &finding.Waiver{Roles: []string{"coordinator"}},
		}
	}
	given := func(f *finding.Finding) *lastlightv1.Waiver {
		observed, shortfall := measure(f)
		return &lastlightv1.Waiver{Finding: f.Key(), WaivedBy: "cora", Said: f.Message, Observed: observed, Shortfall: shortfall}
	}
	at := time.Date(2026, 6, 8, 8, 0, 0, 0, time.UTC)
	word := func(text string) *finding.Finding {
		o := finding.Word("", text)
		return &finding.Finding{Rule: "r", Status: finding.NeedsWaiver, Code: "c", Observed: &o, Message: "m", Waiver: &finding.Waiver{Roles: []string{"coordinator"}}}
	}
	other := seen(3)
	other.Subject.ID = "siphon"
	refused := seen(3)
	refused.Status, refused.Waiver = finding.Refuse, nil
	for _, c := range []struct {
		what   string
		waived *finding.Finding
		change func(*lastlightv1.Waiver)
		now    *finding.Finding
		want   bool
	}{
		{"the same", seen(3), nil, seen(3), true},
		{"better", seen(3), nil, seen(4), true},
		{"worse", seen(3), nil, seen(2.9), false},
		{"about something else", seen(3), nil, other, false},
		{"refused by now", seen(3), nil, refused, false},
		{"the same word", word("strong"), nil, word("strong"), true},
		{"another word", word("strong"), nil, word("very strong"), false},
		{"run out this minute", seen(3), func(w *lastlightv1.Waiver) { w.ExpiresAt = timestamppb.New(at) }, seen(3), false},
		{"runs out later", seen(3), func(w *lastlightv1.Waiver) { w.ExpiresAt = timestamppb.New(at.Add(time.Minute)) }, seen(3), true},
		{"withdrawn", seen(3), func(w *lastlightv1.Waiver) { w.WithdrawnAt = timestamppb.New(at) }, seen(3), false},
		{"waits for the second", seen(3), func(w *lastlightv1.Waiver) { w.NeedsSecondApprover = true }, seen(3), false},
		{"has the second", seen(3), func(w *lastlightv1.Waiver) { w.NeedsSecondApprover, w.SecondApprover = true, "carl" }, seen(3), true},
	} {
		w := given(c.waived)
		if c.change != nil {
			c.change(w)
		}
		if got := waivedBy(c.now, []*lastlightv1.Waiver{w}, at) != nil; got != c.want {
			t.Errorf("%s: covered %v, want %v", c.what, got, c.want)
		}
	}
}

// A report names both who signed a waiver, and says by itself whether the waivers let the plan pass: nobody has to work it out from
// the findings.
func TestReportTellsWhatIsWaived(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, 6, 8, 8, 0, 0, 0, time.UTC)
	needs := func(code string) finding.Finding {
		return finding.Finding{Rule: "own.mondays", Status: finding.NeedsWaiver, Code: code, Waiver: &finding.Waiver{Roles: []string{"committee"}, SecondApprover: true}}
	}
	unknown := finding.Finding{Rule: "site.reading", Status: finding.Indeterminate, Code: "unknown"}
	passes := finding.Finding{Rule: "plan.kind", Status: finding.Pass, Code: "ok"}
	a, b := needs("a"), needs("b")
	signed := func(f finding.Finding, second string) *lastlightv1.Waiver {
		return &lastlightv1.Waiver{Finding: f.Key(), WaivedBy: "cora", NeedsSecondApprover: true, SecondApprover: second}
	}
	for _, c := range []struct {
		what     string
		verdict  finding.Status
		findings []finding.Finding
		waivers  []*lastlightv1.Waiver
		want     bool
	}{
		{"both", finding.NeedsWaiver, []finding.Finding{a, b, passes}, []*lastlightv1.Waiver{signed(a, "carl"), signed(b, "carl")}, true},
		{"one of two", finding.NeedsWaiver, []finding.Finding{a, b}, []*lastlightv1.Waiver{signed(a, "carl")}, false},
		{"one waits for the second", finding.NeedsWaiver, []finding.Finding{a, b}, []*lastlightv1.Waiver{signed(a, "carl"), signed(b, "")}, false},
		{"something is not known", finding.Indeterminate, []finding.Finding{unknown, a}, []*lastlightv1.Waiver{signed(a, "carl")}, false},
		{"nothing needs one", finding.Pass, []finding.Finding{passes}, nil, false},
	} {
		rep := &engine.Report{Findings: c.findings}
		out := &lastlightv1.Report{Verdict: string(c.verdict)}
		for i := range c.findings {
			out.Findings = append(out.Findings, &lastlightv1.Finding{Key: c.findings[i].Key()})
		}
		dressed(out, rep, &store.Evaluation{}, c.waivers, at)
		if out.Waived != c.want {
			t.Errorf("%s: waived %v, want %v", c.what, out.Waived, c.want)
		}
		for i, f := range out.Findings {
			by, second := "", ""
			for _, w := range c.waivers {
				if w.Finding == c.findings[i].Key() && w.SecondApprover != "" {
					by, second = w.WaivedBy, w.SecondApprover
				}
			}
			if f.WaivedBy != by || f.WaiverSecondApprover != second {
				t.Errorf("%s, finding %d: waived by %q and %q, want %q and %q", c.what, i, f.WaivedBy, f.WaiverSecondApprover, by, second)
			}
		}
	}
}
