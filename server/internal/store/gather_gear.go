package store

import (
	"context"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/facts"
)

func (g *gatherer) gear(ctx context.Context) error {
	sets, items := planGear(g.r.Plan)
	var err error
	if g.r.Sets, err = documents(ctx, g.q, func() *lastlightv1.CylinderSet { return &lastlightv1.CylinderSet{} },
		`SELECT doc FROM cylinder_set WHERE id = ANY ($1) ORDER BY id`, sortedSet(sets)); err != nil {
		return err
	}
	for _, s := range g.r.Sets {
		items = append(items, s.Cylinders...)
	}
	return g.items(ctx, items)
}

// GatherItems reads items with what their dates rest on, on one snapshot: tests
// and services, quarantine, the last fill, dives since the service. Analyses and
// custody are left out, which grow with every dive.
func (s *Store) GatherItems(ctx context.Context, p *policy.Policy, ids []string) (cylinders []facts.Cylinder, equipment []facts.Equipment, err error) {
	g := gatherer{r: &facts.Records{Policy: *p}, at: s.Now(), now: s.Now()}
	err = s.Read(ctx, func(ctx context.Context, q Querier) error {
		g.q = q
		return g.dated(ctx, sortedSet(ids))
	})
	return g.r.Cylinders, g.r.Equipment, err
}

// items reads cylinders and other equipment with all that was done with them up to the entry asked about.
func (g *gatherer) items(ctx context.Context, ids []string) error {
	ids = sortedSet(ids)
	for _, step := range []func(context.Context, []string) error{g.dated, g.fills, g.analyses, g.custody} {
		if err := step(ctx, ids); err != nil {
			return err
		}
	}
	var instruments []string
	for _, c := range g.r.Cylinders {
		instruments = append(instruments, c.LastFill.GetCompressor())
		for _, a := range c.Analyses {
			instruments = append(instruments, a.Analyser)
		}
	}
	var err error
	g.r.Instruments, err = g.equipment(ctx, instruments)
	return err
}

// dated reads what the dates of items rest on.
func (g *gatherer) dated(ctx context.Context, ids []string) error {
	cylinders, err := loadCylinders(ctx, g.q, ids)
	if err != nil {
		return err
	}
	for _, c := range cylinders {
		g.r.Cylinders = append(g.r.Cylinders, facts.Cylinder{Record: c})
	}
	if g.r.Equipment, err = g.equipment(ctx, ids); err != nil {
		return err
	}
	if err := g.quarantine(ctx, ids); err != nil {
		return err
	}
	fills, err := documents(ctx, g.q, func() *lastlightv1.Fill { return &lastlightv1.Fill{} }, `
SELECT DISTINCT ON (cylinder) doc FROM fill WHERE cylinder = ANY ($1) ORDER BY cylinder, filled_at DESC, recorded_at DESC, id DESC`, ids)
	if err != nil {
		return err
	}
	for _, m := range fills {
		if c := g.cylinder(m.Cylinder); c != nil {
			c.LastFill = m
		}
	}
	return g.divesSince(ctx)
}

func (g *gatherer) equipment(ctx context.Context, ids []string) ([]facts.Equipment, error) {
	list, err := loadEquipmentList(ctx, g.q, ids)
	out := make([]facts.Equipment, len(list))
	for i, e := range list {
		out[i] = facts.Equipment{Record: e}
	}
	return out, err
}

// cylinder and piece find what was gathered under an id; nil where it is the other sort of item.
func (g *gatherer) cylinder(id string) *facts.Cylinder {
	if i := slices.IndexFunc(g.r.Cylinders, func(c facts.Cylinder) bool { return c.Record.Id == id }); i >= 0 {
		return &g.r.Cylinders[i]
	}
	return nil
}

func (g *gatherer) piece(id string) *facts.Equipment {
	if i := slices.IndexFunc(g.r.Equipment, func(e facts.Equipment) bool { return e.Record.Id == id }); i >= 0 {
		return &g.r.Equipment[i]
	}
	return nil
}

func (g *gatherer) quarantine(ctx context.Context, ids []string) error {
	rows, err := g.q.Query(ctx, `SELECT id, quarantined_at FROM item WHERE id = ANY ($1) AND quarantined_at IS NOT NULL`, ids)
	if err != nil {
		return err
	}
	var id string
	var at time.Time
	_, err = pgx.ForEachRow(rows, []any{&id, &at}, func() error {
		if c := g.cylinder(id); c != nil {
			c.QuarantinedAt = at
		} else if e := g.piece(id); e != nil {
			e.QuarantinedAt = at
		}
		return nil
	})
	return err
}

func (g *gatherer) fills(ctx context.Context, ids []string) error {
	rows, err := g.q.Query(ctx, `SELECT cylinder, filled_at, doc FROM fill WHERE cylinder = ANY ($1) ORDER BY filled_at, recorded_at, id`, ids)
	if err != nil {
		return err
	}
	var id string
	var at time.Time
	var doc []byte
	_, err = pgx.ForEachRow(rows, []any{&id, &at, &doc}, func() error {
		m := &lastlightv1.Fill{}
		if err := unmarshalDocument(doc, m); err != nil {
			return err
		}
		if c := g.cylinder(id); c != nil {
			kind := "fill"
			if m.TopUp {
				kind = "top_up"
			}
			c.Handling = append(c.Handling, facts.Handling{Kind: kind, At: at})
		}
		return nil
	})
	return err
}

func (g *gatherer) analyses(ctx context.Context, ids []string) error {
	rows, err := g.q.Query(ctx, `SELECT cylinder, doc FROM analysis WHERE cylinder = ANY ($1) ORDER BY analysed_at, recorded_at, id`, ids)
	if err != nil {
		return err
	}
	var id string
	var doc []byte
	_, err = pgx.ForEachRow(rows, []any{&id, &doc}, func() error {
		m := &lastlightv1.Analysis{}
		if err := unmarshalDocument(doc, m); err != nil {
			return err
		}
		if c := g.cylinder(id); c != nil {
			c.Analyses = append(c.Analyses, m)
		}
		return nil
	})
	return err
}

// breaks says, for each kind of custody event that ends an analysis, what it is
// to the analysis (T29): a cylinder that waits in the cave is in custody, one
// that was out of sight or lost is not.
var breaks = map[string]string{"valve_removed": "valve_removal", "left_unattended": "custody_break", "lost": "custody_break"}

func (g *gatherer) custody(ctx context.Context, ids []string) error {
	rows, err := g.q.Query(ctx, `SELECT item, kind, at, doc FROM custody_event WHERE item = ANY ($1) AND at <= $2 ORDER BY at, recorded_at, id`, ids, g.at)
	if err != nil {
		return err
	}
	var id, kind string
	var at time.Time
	var doc []byte
	_, err = pgx.ForEachRow(rows, []any{&id, &kind, &at, &doc}, func() error {
		m := &lastlightv1.CustodyEvent{}
		if err := unmarshalDocument(doc, m); err != nil {
			return err
		}
		c, e := g.cylinder(id), g.piece(id)
		if what, ends := breaks[kind]; ends && c != nil {
			c.Handling = append(c.Handling, facts.Handling{Kind: what, At: at})
		}
		switch {
		case kind == "valve_removed": // says nothing of who has it
		case c != nil:
			c.Custody = m
		case e != nil:
			e.Custody = m
		}
		return nil
	})
	return err
}

// divesSince counts, for each piece whose policy counts dives between services,
// the dives since its last one: those whose plan names it, and all others of its
// owner, so that a dive on which nobody noted it is not forgotten. Dives of the
// day of the service count.
func (g *gatherer) divesSince(ctx context.Context) error {
	var items, owners, days []string
	for _, e := range g.r.Equipment {
		if since := g.countedFrom(e.Record); since != "" {
			items, owners, days = append(items, e.Record.Id), append(owners, e.Record.Owner), append(days, since)
		}
	}
	if len(items) == 0 {
		return nil
	}
	rows, err := g.q.Query(ctx, `
SELECT u.item, dived.n FROM unnest($1::text[], $2::text[], $3::date[]) u (item, owner, since) CROSS JOIN LATERAL (
  SELECT count(*) AS n FROM (
    SELECT d.id FROM dive_diver x JOIN dive d ON d.id = x.dive
    WHERE x.person = u.owner AND NOT d.archived AND x.entered_at >= u.since AND x.entered_at < $4
    UNION
    SELECT d.id FROM plan_version v JOIN dive d ON d.plan = v.plan AND d.plan_version = v.version
    WHERE v.doc @> jsonb_build_object('team', jsonb_build_array(jsonb_build_object('equipment', jsonb_build_array(u.item))))
      AND NOT d.archived AND d.entered_at >= u.since AND d.entered_at < $4) of_either) dived`, items, owners, days, g.at)
	if err != nil {
		return err
	}
	var item string
	var n int
	_, err = pgx.ForEachRow(rows, []any{&item, &n}, func() error {
		counted := n
		g.piece(item).DivesSince = &counted
		return nil
	})
	return err
}

// countedFrom is the day from which an item's dives are counted, empty where they are not.
func (g *gatherer) countedFrom(e *lastlightv1.Equipment) (since string) {
	for _, k := range g.r.Policy.Kit {
		if k.Item != e.Kind {
			continue
		}
		for _, c := range k.Clocks {
			if c.Dives > 0 {
				since = lastService(e.ServiceEvents, c.Clock)
			}
		}
	}
	return since
}

// lastService is the first day that the last event of the kind can mean, empty for none.
func lastService(events []*lastlightv1.ServiceEvent, kind string) (since string) {
	for _, e := range events {
		if e.Kind != kind {
			continue
		}
		day := e.Date
		if len(day) == len("2006-01") {
			day += "-01"
		}
		since = max(since, day)
	}
	return since
}
