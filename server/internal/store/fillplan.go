package store

import (
	"context"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

// ExpeditionGear is what the fill plan of an expedition rests on, as of one moment.
type ExpeditionGear struct {
	Plans     []*lastlightv1.Plan // still to be dived, by planned entry
	SiteZones map[string]string   // site → IANA zone
	Sets      map[string]*lastlightv1.CylinderSet
	Cylinders map[string]*lastlightv1.Cylinder
}

// GatherGear reads the plans of an expedition that are planned to enter within
// a span and still to be dived, with the cylinders they name.
func (s *Store) GatherGear(ctx context.Context, expedition string, from, to time.Time) (*ExpeditionGear, error) {
	out := &ExpeditionGear{Sets: map[string]*lastlightv1.CylinderSet{}, Cylinders: map[string]*lastlightv1.Cylinder{}}
	err := s.Read(ctx, func(ctx context.Context, q Querier) error {
		rows, err := q.Query(ctx, `
SELECT `+planRow+` FROM plan p JOIN plan_version v ON v.plan = p.id AND v.version = p.version
WHERE p.expedition = $1 AND NOT p.archived AND p.planned_entry >= $2 AND p.planned_entry < $3
  AND p.state IN ('draft', 'submitted', 'approved', 'stale')
ORDER BY p.planned_entry, p.id`, expedition, from, to)
		if err != nil {
			return err
		}
		if out.Plans, err = pgx.CollectRows(rows, s.scanPlan); err != nil {
			return err
		}
		out.Plans = slices.DeleteFunc(out.Plans, func(m *lastlightv1.Plan) bool { return m.State == lastlightv1.PlanState_PLAN_STATE_EXPIRED })
		var sites, sets, cylinders []string
		for _, p := range out.Plans {
			sites = append(sites, p.Site)
			for _, d := range p.Team {
				sets = append(sets, d.Mains)
				for _, st := range d.Stages {
					cylinders = append(cylinders, st.Cylinder)
				}
			}
		}
		if rows, err = q.Query(ctx, setRow+` WHERE id = ANY ($1)`, nonNil(sets)); err != nil {
			return err
		}
		list, err := pgx.CollectRows(rows, scanSet)
		if err != nil {
			return err
		}
		for _, m := range list {
			out.Sets[m.Id] = m
			cylinders = append(cylinders, m.Cylinders...)
		}
		loaded, err := loadCylinders(ctx, q, cylinders)
		if err != nil {
			return err
		}
		for _, m := range loaded {
			out.Cylinders[m.Id] = m
		}
		out.SiteZones, err = SiteZones(ctx, q, nonNil(sites))
		return err
	})
	return out, translate(err)
}
