package policy

import "lastlight/engine/finding"

// defaultWaivers is who may decide otherwise where a rule answers needs_waiver.
// Nobody waives a sharing exit, an unanalysed gas, a medical stop or an input
// that is unknown: those rules answer refuse or indeterminate, and the list
// says it again so that a club that edits the table meets a validation error.
func defaultWaivers() Waivers {
	second := func(rule string) WaiverRule {
		return WaiverRule{Rule: rule, Roles: []string{"coordinator", "committee"}, SecondApprover: true}
	}
	alone := func(rule string) WaiverRule {
		return WaiverRule{Rule: rule, Roles: []string{"coordinator", "committee"}}
	}
	return Waivers{
		Rules: []WaiverRule{
			second("level.visibility"),
			second("level.major_restriction"),
			second("route.major_restriction_sharing"),
			second("site.threshold"),
			second("plan.site_opening"),
			second("team.solo"),
			second("watch.can_help"),
			alone("failure.worst_consumption"),
		},
		Nobody: []string{
			"route.sharing_exit", "gas.analysis", "gas.rich", "gas.hypoxic", "diver.medical", "diver.card", "diver.minimum_age",
			"diver.not_diving", "cylinder.test", "cylinder.quarantine", "plan.unsupported", "decompression.computed", "decompression.earlier_dives", "decompression.altitude",
		},
	}
}

// CitationFor finds the citation of a cell by the longest path prefix; of equal
// paths the first. ok is false where no source covers the cell.
func (p *Policy) CitationFor(path string) (c finding.Citation, ok bool) {
	best := -1
	for _, s := range p.Sources {
		if covers(s.Path, path) && len(s.Path) > best {
			best, c, ok = len(s.Path), s.Citation, true
		}
	}
	return c, ok
}

// covers tells whether prefix names the cell or something that holds it.
func covers(prefix, path string) bool {
	if len(prefix) > len(path) || path[:len(prefix)] != prefix {
		return false
	}
	return len(prefix) == len(path) || path[len(prefix)] == '.' || path[len(prefix)] == '['
}
