package report

import (
	"testing"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

// Of everything that is kept back about one person a reader is told one thing, whatever its order: that they count or do not,
// that they are available or are not.
func TestOneAnswerForWhatIsKeptBack(t *testing.T) {
	t.Parallel()
	of := func(rule, status, waivedBy string) *lastlightv1.Finding {
		return &lastlightv1.Finding{Rule: rule, Status: status, WaivedBy: waivedBy, Subject: &lastlightv1.FindingSubject{Kind: "diver", Id: "ben", Name: "Ben"}}
	}
	other := &lastlightv1.Finding{Rule: "diver.card", Status: "pass", Subject: &lastlightv1.FindingSubject{Kind: "diver", Id: "ada", Name: "Ada"}}
	nobody := func(person string) bool { return person == "ada" }
	for _, c := range []struct {
		name    string
		in      []*lastlightv1.Finding
		status  string
		message string
		mask    func(*lastlightv1.Report, func(string) bool)
	}{
		{"passes before a refusal", []*lastlightv1.Finding{of("diver.card", "pass", ""), of("diver.currency", "refuse", ""), of("diver.consumption", "note", "")}, "refuse", "Ben does not count for this dive", MaskTraining},
		{"a refusal before passes", []*lastlightv1.Finding{of("diver.currency", "refuse", ""), of("diver.card", "pass", ""), of("diver.consumption", "needs_waiver", "")}, "refuse", "Ben does not count for this dive", MaskTraining},
		{"an unknown", []*lastlightv1.Finding{of("diver.card", "pass", ""), of("diver.minimum_age", "indeterminate", "")}, "indeterminate", "Ben does not count for this dive", MaskTraining},
		{"a waived one and passes", []*lastlightv1.Finding{of("diver.currency", "needs_waiver", "cora"), of("diver.card", "pass", "")}, "pass", "Ben counts for this dive", MaskTraining},
		{"passes alone", []*lastlightv1.Finding{of("diver.card", "pass", ""), of("diver.currency", "caution", "")}, "pass", "Ben counts for this dive", MaskTraining},
		{"fit and not diving", []*lastlightv1.Finding{of("diver.medical", "pass", ""), of("diver.not_diving", "refuse", "")}, "refuse", "Ben is not available", Mask},
		{"not fit and diving", []*lastlightv1.Finding{of("diver.medical", "indeterminate", ""), of("diver.not_diving", "pass", "")}, "refuse", "Ben is not available", Mask},
		{"fit and diving", []*lastlightv1.Finding{of("diver.medical", "caution", ""), of("diver.not_diving", "pass", "")}, "pass", "Ben is available", Mask},
	} {
		r := &lastlightv1.Report{Findings: append([]*lastlightv1.Finding{other}, c.in...)}
		c.mask(r, nobody)
		if len(r.Findings) != 2 || r.Findings[0] != other || r.Findings[1].Status != c.status || r.Findings[1].Message != c.message || r.Findings[1].WaivedBy != "" {
			t.Errorf("%s: %v", c.name, r.Findings)
		}
	}
}
