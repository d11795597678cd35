package plan

import (
	"slices"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

// People lists whom a plan names, each once: the team, who stands by, the cover.
func People(p *lastlightv1.Plan) []string {
	var all []string
	add := func(person string) {
		if person != "" && !slices.Contains(all, person) {
			all = append(all, person)
		}
	}
	for _, d := range p.GetTeam() {
		add(d.GetPerson())
	}
	for _, person := range p.GetStandby() {
		add(person)
	}
	add(p.GetCover())
	return all
}
