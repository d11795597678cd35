package policy

import "lastlight/engine/finding"

// defaultWaivers is who may decide otherwise where a rule answers needs_waiver.
// That the committee may in a coordinator's place is ours: the sources name the coordinator.
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
			second("level.visibility"),                // practice 2.2: less than 3 m, coordinator and second approver
			second("level.major_restriction"),         // practice 2.2: major restriction, SIDEMOUNT and second approver
			second("route.major_restriction_sharing"), // route and gas D11: needs a waiver where every supply is independent; the second is ours
			second("site.threshold"),                  // ours, for a club that makes the cell needs_waiver; as shipped it refuses
			second("plan.site_opening"),               // route and gas 8: SURVEY and second approver
			second("plan.exploration"),                // practice 5.3 RT2: SURVEY, laying line and second approver
			second("team.solo"),                       // practice 13: second approver, in a club that enables it
			second("watch.can_help"),                  // T36: needs a waiver; the second is ours
			alone("failure.worst_consumption"),        // route and gas 6: needs a waiver
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
	for i := range p.Sources {
		if s := &p.Sources[i]; covers(s.Path, path) && len(s.Path) > best {
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
