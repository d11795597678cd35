package report

import (
	"google.golang.org/protobuf/proto"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

// Changes lists the findings in which two reports about a plan differ, in the
// order of the later report, then what only the earlier one had. Steps are left
// out: they differ wherever the finding does.
func Changes(before, after *lastlightv1.Report) []*lastlightv1.FindingChange {
	earlier := map[string][]*lastlightv1.Finding{}
	var order []string
	for _, f := range before.GetFindings() {
		k := about(f)
		if earlier[k] == nil {
			order = append(order, k)
		}
		earlier[k] = append(earlier[k], withoutSteps(f))
	}
	var changed []*lastlightv1.Finding
	for _, f := range after.GetFindings() {
		f = withoutSteps(f)
		if !takeEqual(earlier, f) {
			changed = append(changed, f)
		}
	}
	var out []*lastlightv1.FindingChange
	for _, f := range changed {
		c := &lastlightv1.FindingChange{After: f}
		if left := earlier[about(f)]; len(left) > 0 {
			c.Before, earlier[about(f)] = left[0], left[1:]
		}
		out = append(out, c)
	}
	for _, k := range order {
		for _, f := range earlier[k] {
			out = append(out, &lastlightv1.FindingChange{Before: f})
		}
	}
	return out
}

// about is the question a finding answers: another answer to it is a change of the same finding.
func about(f *lastlightv1.Finding) string {
	return f.GetRule() + "\n" + f.GetSubject().GetId() + "\n" + f.GetOther().GetId() + "\n" + f.GetPath()
}

// takeEqual takes an equal finding out of the earlier ones, if there is one.
func takeEqual(earlier map[string][]*lastlightv1.Finding, f *lastlightv1.Finding) bool {
	list := earlier[about(f)]
	for i := range list {
		if proto.Equal(list[i], f) {
			earlier[about(f)] = append(list[:i:i], list[i+1:]...)
			return true
		}
	}
	return false
}

func withoutSteps(f *lastlightv1.Finding) *lastlightv1.Finding {
	f = proto.CloneOf(f)
	f.Steps = nil
	return f
}
