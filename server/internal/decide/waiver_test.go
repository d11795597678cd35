package decide

import (
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/engine/finding"
	lastlightv1 "lastlight/proto/lastlight/v1"
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
