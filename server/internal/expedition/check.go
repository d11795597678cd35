// Package expedition says what must hold of expeditions beyond the bounds of each field.
package expedition

import (
	"fmt"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/fault"
)

// Check notes what is wrong with an expedition.
func Check(p *fault.Problems, m *lastlightv1.Expedition) {
	from := dates.Day(p, "from_day", m.FromDay)
	to := dates.Day(p, "to_day", m.ToDay)
	if !from.IsZero() && !to.IsZero() && to.Before(from) {
		p.Add("to_day", m.ToDay, "from_day ("+m.FromDay+") or later", "the expedition ends before it begins")
	}
	seen := map[string]int{}
	for i, x := range m.Participants {
		if j, twice := seen[x.Person]; twice {
			p.Addf(x.Person, "each person once", fmt.Sprintf("%q takes part already, as participants[%d]", x.Person, j), "participants[%d].person", i)
			continue
		}
		seen[x.Person] = i
	}
}
