package store

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/message"
	"lastlight/server/internal/plan"
)

// planRow is the columns of a plan and one of its versions.
const planRow = `p.id, p.version, p.state, p.state_reasons, p.archived, p.enter_by, p.waived_until, v.version, v.doc, v.code_word, v.made_at, v.made_by`

// scanPlan reads planRow. An approval past its enter-by time reads as expired,
// and one whose waiver has run out as stale, even before the sweep has said so
// in the row.
func (s *Store) scanPlan(row pgx.CollectableRow) (*lastlightv1.Plan, error) {
	return scanPlanAt(row, s.Now())
}

func scanPlanAt(row pgx.CollectableRow, now time.Time) (*lastlightv1.Plan, error) {
	var (
		id, state, code, by string
		latest, version     int32
		reasons             []string
		archived            bool
		enterBy, until      *time.Time
		doc                 []byte
		at                  time.Time
	)
	if err := row.Scan(&id, &latest, &state, &reasons, &archived, &enterBy, &until, &version, &doc, &code, &at, &by); err != nil {
		return nil, err
	}
	m := &lastlightv1.Plan{}
	if err := unmarshalDocument(doc, m); err != nil {
		return nil, err
	}
	if plan.IsOverdue(plan.State(state), enterBy, now) {
		state, reasons = string(plan.Expired), append(reasons, notEntered)
	}
	if until != nil && !now.Before(*until) {
		switch plan.State(state) {
		case plan.Approved:
			state, reasons = string(plan.Stale), append(reasons, waiverRanOut)
		case plan.InWater: // for Unentered
			reasons = append(reasons, waiverRanOut)
		}
	}
	m.Id, m.Version, m.StateReasons, m.Archived = id, version, reasons, archived
	m.State = planStates[plan.State(state)]
	m.CodeWord, m.VersionAt, m.VersionBy = code, timestamppb.New(at), by
	if enterBy != nil && m.EnterBy == nil && version == latest {
		m.EnterBy = timestamppb.New(*enterBy)
	}
	return m, nil
}

var planStates = map[plan.State]lastlightv1.PlanState{
	plan.Draft: lastlightv1.PlanState_PLAN_STATE_DRAFT, plan.Submitted: lastlightv1.PlanState_PLAN_STATE_SUBMITTED,
	plan.Approved: lastlightv1.PlanState_PLAN_STATE_APPROVED, plan.Refused: lastlightv1.PlanState_PLAN_STATE_REFUSED,
	plan.Withdrawn: lastlightv1.PlanState_PLAN_STATE_WITHDRAWN, plan.Stale: lastlightv1.PlanState_PLAN_STATE_STALE,
	plan.Expired: lastlightv1.PlanState_PLAN_STATE_EXPIRED, plan.InWater: lastlightv1.PlanState_PLAN_STATE_IN_WATER,
	plan.Closed: lastlightv1.PlanState_PLAN_STATE_CLOSED,
}

// GetPlan reads a plan at a version; 0 is the latest.
func (s *Store) GetPlan(ctx context.Context, id string, version int32) (*lastlightv1.Plan, error) {
	m, err := getPlan(ctx, s.pool, id, version, s.Now())
	if err != nil {
		return nil, translate(err)
	}
	if m.Waivers, err = ListPlanWaivers(ctx, s.pool, id, m.Version, s.Now()); err != nil {
		return nil, translate(err)
	}
	m.Acknowledgements, err = acknowledgements(ctx, s.pool, id, m.Version)
	return m, translate(err)
}

func getPlan(ctx context.Context, q Querier, id string, version int32, now time.Time) (*lastlightv1.Plan, error) {
	rows, err := q.Query(ctx, `
SELECT `+planRow+` FROM plan p JOIN plan_version v ON v.plan = p.id AND v.version = CASE WHEN $2 = 0 THEN p.version ELSE $2 END
WHERE p.id = $1`, id, version)
	if err != nil {
		return nil, err
	}
	m, err := pgx.CollectExactlyOneRow(rows, func(row pgx.CollectableRow) (*lastlightv1.Plan, error) { return scanPlanAt(row, now) })
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, fault.NoSuch("plan", id)
	}
	return m, err
}

// Unentered is the state in which a plan in the water is shown to whoever may
// not know that: as it would stand had nobody entered.
func Unentered(p *lastlightv1.Plan, now time.Time) (state lastlightv1.PlanState, reasons []string) {
	for _, why := range p.StateReasons {
		if why == waiverRanOut || strings.HasPrefix(why, divesStopped) {
			reasons = append(reasons, why)
		}
	}
	switch {
	case p.EnterBy != nil && plan.IsOverdue(plan.Approved, new(p.EnterBy.AsTime()), now):
		return lastlightv1.PlanState_PLAN_STATE_EXPIRED, append(slices.DeleteFunc(reasons, AboutWaiver), notEntered)
	case len(reasons) > 0:
		return lastlightv1.PlanState_PLAN_STATE_STALE, reasons
	}
	return lastlightv1.PlanState_PLAN_STATE_APPROVED, nil
}

// divesStopped begins the reason of a plan whose dive was stopped with all others.
const divesStopped = "all dives stopped: "

// stoppedAway is divesStopped of a plan that could not be entered any more: had nobody entered, it had not been stopped.
const stoppedAway = "all dives stopped while the team was in the water: "

// Stopped are those of a plan's reasons that tell that all dives were stopped.
func Stopped(reasons []string) (list []string) {
	for _, why := range reasons {
		if strings.HasPrefix(why, divesStopped) || strings.HasPrefix(why, stoppedAway) {
			list = append(list, why)
		}
	}
	return list
}

// AboutEntry tells whether a decision tells that the plan was entered.
func AboutEntry(d *lastlightv1.Decision) bool {
	return d.Decision == "entered" || strings.HasPrefix(d.Reason, stoppedAway)
}

// WaiverWithdrawn begins the reason of a plan that is stale because a waiver was taken back; the rule follows.
const WaiverWithdrawn = "a waiver was withdrawn: "

const waiverRanOut = "a waiver that it was approved with has run out"

// AboutWaiver tells whether a plan's reason tells of a waiver: not everybody may know.
func AboutWaiver(reason string) bool {
	return reason == waiverRanOut || strings.HasPrefix(reason, WaiverWithdrawn)
}

const notEntered = "not entered by its enter-by time"

// ListPlans gives a page, latest planned entry first. restrictTo, if not
// empty, leaves only plans that this person made or takes part in. Of states,
// it finds a plan in the water as such only where board, nil for all, knows of it.
func (s *Store) ListPlans(ctx context.Context, r *lastlightv1.ListPlansRequest, restrictTo string, board *BoardSight) ([]*lastlightv1.Plan, string, error) {
	var states []string
	for _, want := range r.States {
		for word, value := range planStates {
			if value == want {
				states = append(states, string(word))
			}
		}
	}
	slices.Sort(states)
	args := []any{r.ShowArchived, r.Search, r.Site, r.Expedition, states, r.Person, restrictTo}
	after, err := ReadToken("plans", args, r.PageToken, 2)
	if err != nil {
		return nil, "", err
	}
	all := board == nil
	if all {
		board = &BoardSight{}
	}
	afterEntry, afterID := "infinity", ""
	if after != nil {
		afterEntry, afterID = after[0], after[1]
	}
	size := PageSize(r.PageSize)
	rows, err := s.pool.Query(ctx, `
SELECT `+planRow+` FROM plan p JOIN plan_version v ON v.plan = p.id AND v.version = p.version
WHERE (p.planned_entry, p.id) < ($1::timestamptz, CASE WHEN $2 = '' THEN chr(1114111) ELSE $2 END)
  AND ($3 OR NOT p.archived)
  AND ($4 = '' OR position(lower($4) IN lower(p.id || ' ' || COALESCE(v.doc ->> 'goal', ''))) > 0)
  AND ($5 = '' OR p.site = $5) AND ($6 = '' OR p.expedition = $6)
  AND (cardinality($7::text[]) = 0
       OR CASE WHEN p.state IN ('approved', 'stale') AND p.enter_by < $11 THEN 'expired'
               WHEN p.state = 'approved' AND p.waived_until <= $11 THEN 'stale'
               WHEN p.state <> 'in_water' OR $12 OR p.expedition = ANY ($14) OR p.leader = $13
                 OR EXISTS (SELECT FROM plan_person x WHERE x.plan = p.id AND x.version = p.version AND x.person = $13) THEN p.state
               WHEN p.enter_by < $11 THEN 'expired' WHEN p.stopped OR p.waived_until <= $11 THEN 'stale' ELSE 'approved' END = ANY ($7))
  AND ($8 = '' OR p.leader = $8 OR EXISTS (SELECT FROM plan_person x WHERE x.plan = p.id AND x.version = p.version AND x.person = $8))
  AND ($9 = '' OR p.leader = $9 OR v.made_by = $9 OR EXISTS (SELECT FROM plan_person x WHERE x.plan = p.id AND x.version = p.version AND x.person = $9))
ORDER BY p.planned_entry DESC, p.id DESC LIMIT $10`,
		afterEntry, afterID, r.ShowArchived, r.Search, r.Site, r.Expedition, nonNil(states), r.Person, restrictTo, size+1, s.Now(), all, board.Person, nonNil(board.Expeditions))
	if err != nil {
		return nil, "", translate(err)
	}
	list, err := pgx.CollectRows(rows, s.scanPlan)
	if err != nil {
		return nil, "", translate(err)
	}
	list, next := cut(list, size, "plans", args, func(m *lastlightv1.Plan) []string {
		return []string{m.PlannedEntry.AsTime().Format(time.RFC3339Nano), m.Id}
	})
	return list, next, nil
}

func nonNil(list []string) []string {
	if list == nil {
		return []string{}
	}
	return list
}

// PutPlan creates a plan or makes a new version of it, which puts it back to
// draft and frees whom it had bound.
func (tx *Tx) PutPlan(ctx context.Context, m *lastlightv1.Plan, expect Expect) (Put[*lastlightv1.Plan], error) {
	var none Put[*lastlightv1.Plan]
	m = message.AsGiven(m)
	var state string
	err := tx.QueryRow(ctx, `SELECT state FROM plan WHERE id = $1 FOR UPDATE`, m.Id).Scan(&state)
	switch {
	case errors.Is(err, pgx.ErrNoRows) && expect.Existing:
		return none, fault.NoSuch("plan", m.Id)
	case errors.Is(err, pgx.ErrNoRows):
		if err := tx.checkPlanReferences(ctx, m); err != nil {
			return none, err
		}
		return tx.insertPlan(ctx, m)
	case err != nil:
		return none, err
	case expect.New:
		return none, fault.Taken("plan", m.Id)
	}
	before, err := getPlan(ctx, tx, m.Id, 0, tx.Now())
	if err != nil {
		return none, err
	}
	if expect.Version != 0 && int64(before.Version) != expect.Version {
		return none, fault.Moved("plan", m.Id, int64(before.Version), expect.Version)
	}
	// The enter-by that submission worked out is not the plan's own.
	own := proto.CloneOf(before)
	if err := unmarshalOwn(ctx, tx, own); err != nil {
		return none, err
	}
	paths := message.Changes(own, m)
	if len(paths) == 0 {
		return Put[*lastlightv1.Plan]{Record: before, Outcome: Unchanged}, nil
	}
	if err := tx.checkPlanReferences(ctx, m); err != nil {
		return none, err
	}
	if _, err := plan.Next(m.Id, plan.State(state), plan.Edit); err != nil {
		return none, err
	}
	version := before.Version + 1
	if _, err := tx.Exec(ctx, `
UPDATE plan SET version = $2, state = 'draft', state_reasons = '{}', stopped = false, enter_by = NULL,
  site = $3, expedition = $4, leader = $5, planned_entry = $6, updated_at = $7 WHERE id = $1`,
		m.Id, version, m.Site, nullIfEmpty(m.Expedition), m.Leader, m.PlannedEntry.AsTime(), tx.Now()); err != nil {
		return none, err
	}
	if _, err := tx.Exec(ctx, `DELETE FROM booking WHERE plan = $1`, m.Id); err != nil {
		return none, err
	}
	if err := tx.insertPlanVersion(ctx, m, version); err != nil {
		return none, err
	}
	tx.Event("plan.update", "plan", m.Id, own, m)
	after, err := getPlan(ctx, tx, m.Id, 0, tx.Now())
	return Put[*lastlightv1.Plan]{Record: after, Outcome: Changed, Changes: paths}, err
}

// unmarshalOwn puts into m what the plan itself says at m's version, without
// what the register adds.
func unmarshalOwn(ctx context.Context, q Querier, m *lastlightv1.Plan) error {
	id, version := m.Id, m.Version
	var doc []byte
	if err := q.QueryRow(ctx, `SELECT doc FROM plan_version WHERE plan = $1 AND version = $2`, id, version).Scan(&doc); err != nil {
		return err
	}
	proto.Reset(m)
	err := unmarshalDocument(doc, m)
	m.Id, m.Version = id, version
	return err
}

func (tx *Tx) insertPlan(ctx context.Context, m *lastlightv1.Plan) (Put[*lastlightv1.Plan], error) {
	_, err := tx.Exec(ctx, `
INSERT INTO plan (id, site, expedition, leader, planned_entry, created_at, updated_at) VALUES ($1, $2, $3, $4, $5, $6, $6)`,
		m.Id, m.Site, nullIfEmpty(m.Expedition), m.Leader, m.PlannedEntry.AsTime(), tx.Now())
	if err != nil {
		return Put[*lastlightv1.Plan]{}, err
	}
	if err := tx.insertPlanVersion(ctx, m, 1); err != nil {
		return Put[*lastlightv1.Plan]{}, err
	}
	tx.Event("plan.create", "plan", m.Id, nil, m)
	after, err := getPlan(ctx, tx, m.Id, 0, tx.Now())
	return Put[*lastlightv1.Plan]{Record: after, Outcome: Created}, err
}

func (tx *Tx) insertPlanVersion(ctx context.Context, m *lastlightv1.Plan, version int32) error {
	for i, l := range m.GetRoute().GetLeft() {
		if err := tx.keepKeys(ctx, fmt.Sprintf("route.left[%d].owner", i), l.Owner); err != nil {
			return err
		}
	}
	doc := stored(m)
	_, err := tx.Exec(ctx, `INSERT INTO plan_version (plan, version, doc, code_word, made_at, made_by) VALUES ($1, $2, $3, $4, $5, $6)`,
		m.Id, version, doc, codeWord(m.Id, version, doc), tx.Now(), tx.Mutation.Caller)
	if err != nil {
		return err
	}
	var people, duties []string
	for _, d := range m.Team {
		people, duties = append(people, d.Person), append(duties, "diver")
	}
	for _, p := range m.Standby {
		people, duties = append(people, p), append(duties, "standby")
	}
	if m.Cover != "" {
		people, duties = append(people, m.Cover), append(duties, "cover")
	}
	if _, err := tx.Exec(ctx, `
INSERT INTO plan_person (plan, version, person, duty) SELECT $1, $2, person, duty FROM unnest($3::text[], $4::text[]) AS x (person, duty)
ON CONFLICT DO NOTHING`, m.Id, version, people, duties); err != nil {
		return err
	}
	sets, items := planGear(m)
	_, err = tx.Exec(ctx, `
INSERT INTO plan_item (plan, version, item)
SELECT $1, $2, x.item FROM (
  SELECT cylinder AS item FROM cylinder_set_member WHERE cylinder_set = ANY ($3)
  UNION SELECT id FROM item WHERE id = ANY ($4)) x`, m.Id, version, nonNil(sets), nonNil(items))
	return err
}

// planGear lists the cylinder sets, and the stage cylinders and equipment, that a plan names.
func planGear(m *lastlightv1.Plan) (sets, items []string) {
	for _, d := range m.Team {
		sets = append(sets, d.Mains)
		for _, s := range d.Stages {
			items = append(items, s.Cylinder)
		}
		items = append(items, d.Equipment...)
	}
	for _, mv := range m.GetRoute().GetMoves() {
		if mv.Reel != "" {
			items = append(items, mv.Reel)
		}
	}
	return sets, items
}

// checkPlanReferences finds every id in the plan that names nothing, and every place of its route that no survey of the site has.
func (tx *Tx) checkPlanReferences(ctx context.Context, m *lastlightv1.Plan) error {
	type reference struct{ kind, id, field string }
	refs := []reference{{"site", m.Site, "site"}, {"person", m.Leader, "leader"}}
	if m.Expedition != "" {
		refs = append(refs, reference{"expedition", m.Expedition, "expedition"})
	}
	if m.Cover != "" {
		refs = append(refs, reference{"person", m.Cover, "cover"})
	}
	for i, p := range m.Standby {
		refs = append(refs, reference{"person", p, fmt.Sprintf("standby[%d]", i)})
	}
	for i, d := range m.Team {
		at := fmt.Sprintf("team[%d].", i)
		refs = append(refs, reference{"person", d.Person, at + "person"}, reference{"cylinder set", d.Mains, at + "mains"})
		for j, s := range d.Stages {
			refs = append(refs, reference{"cylinder", s.Cylinder, fmt.Sprintf("%sstages[%d].cylinder", at, j)})
		}
		for j, e := range d.Equipment {
			refs = append(refs, reference{"equipment", e, fmt.Sprintf("%sequipment[%d]", at, j)})
		}
	}
	for i, mv := range m.GetRoute().GetMoves() {
		if mv.Reel != "" {
			refs = append(refs, reference{"equipment", mv.Reel, fmt.Sprintf("route.moves[%d].reel", i)})
		}
	}
	kinds, ids := make([]string, len(refs)), make([]string, len(refs))
	for i, r := range refs {
		kinds[i], ids[i] = r.kind, r.id
	}
	rows, err := tx.Query(ctx, `
SELECT ordinality FROM unnest($1::text[], $2::text[]) WITH ORDINALITY AS x (kind, id, ordinality)
WHERE NOT CASE x.kind
  WHEN 'site' THEN EXISTS (SELECT FROM site WHERE id = x.id)
  WHEN 'person' THEN EXISTS (SELECT FROM person WHERE id = x.id)
  WHEN 'expedition' THEN EXISTS (SELECT FROM expedition WHERE id = x.id)
  WHEN 'cylinder set' THEN EXISTS (SELECT FROM cylinder_set WHERE id = x.id)
  WHEN 'cylinder' THEN EXISTS (SELECT FROM cylinder WHERE id = x.id)
  ELSE EXISTS (SELECT FROM equipment WHERE id = x.id) END
ORDER BY ordinality`, kinds, ids)
	if err != nil {
		return err
	}
	missing, err := pgx.CollectRows(rows, pgx.RowTo[int64])
	if err != nil {
		return err
	}
	var problems []fault.Problem
	for _, n := range missing {
		r := refs[n-1]
		problems = append(problems, fault.Problem{Field: r.field, Read: r.id, Expected: "the id of an existing " + r.kind, Message: fmt.Sprintf("there is no %s %q", r.kind, r.id)})
	}
	misnamed, err := tx.misnamedPlaces(ctx, m)
	if err != nil {
		return err
	}
	return fault.Wrong(append(problems, misnamed...))
}

// misnamedPlaces finds the legs and stations of a route that no survey of the site ever had: slips of the pen. Whether the route
// can be swum on the latest survey is for the engine to say, also of a plan of an earlier day. A site that has no survey misnames
// nothing: a plan of it is refused when it is submitted.
func (tx *Tx) misnamedPlaces(ctx context.Context, m *lastlightv1.Plan) ([]fault.Problem, error) {
	type place struct{ kind, id, field string }
	places := []place{{"stations", m.GetRoute().GetStart(), "route.start"}}
	for i, mv := range m.GetRoute().GetMoves() {
		at := fmt.Sprintf("route.moves[%d].", i)
		places = append(places, place{"stations", mv.To, at + "to"})
		if mv.Leg != "" {
			places = append(places, place{"legs", mv.Leg, at + "leg"})
		}
	}
	kinds, ids := make([]string, len(places)), make([]string, len(places))
	for i, p := range places {
		kinds[i], ids[i] = p.kind, p.id
	}
	rows, err := tx.Query(ctx, `
WITH named AS (
  SELECT DISTINCT k.kind, x ->> 'id' AS id
  FROM survey s, (VALUES ('stations'), ('legs')) k (kind), jsonb_array_elements(s.doc -> k.kind) x WHERE s.site = $1)
SELECT ordinality FROM unnest($2::text[], $3::text[]) WITH ORDINALITY AS p (kind, id, ordinality)
WHERE EXISTS (SELECT FROM named) AND NOT EXISTS (SELECT FROM named n WHERE n.kind = p.kind AND n.id = p.id) ORDER BY ordinality`, m.Site, kinds, ids)
	if err != nil {
		return nil, err
	}
	missing, err := pgx.CollectRows(rows, pgx.RowTo[int64])
	var problems []fault.Problem
	for _, n := range missing {
		p := places[n-1]
		kind := strings.TrimSuffix(p.kind, "s")
		problems = append(problems, fault.Problem{Field: p.field, Read: p.id, Expected: "a " + kind + " of the site's survey", Message: fmt.Sprintf("the survey has no %s %q", kind, p.id)})
	}
	return problems, err
}

// ArchivePlan hides a plan that is over.
func (tx *Tx) ArchivePlan(ctx context.Context, id string) (*lastlightv1.Plan, error) {
	before, err := getPlan(ctx, tx, id, 0, tx.Now())
	if err != nil {
		return nil, err
	}
	tag, err := tx.Exec(ctx, `UPDATE plan SET archived = true, updated_at = $3 WHERE id = $1 AND state = ANY ($2)`, id, plan.From(plan.Archive), tx.Now())
	if err != nil {
		return nil, err
	}
	if tag.RowsAffected() == 0 {
		_, err := plan.Next(id, stateOf(before), plan.Archive)
		return nil, err
	}
	tx.Event("plan.archive", "plan", id, before, nil)
	return getPlan(ctx, tx, id, 0, tx.Now())
}

func stateOf(m *lastlightv1.Plan) plan.State {
	for word, value := range planStates {
		if value == m.State {
			return word
		}
	}
	return ""
}

// codeWord gives the two words by which paper and board are matched. They
// follow from the version's content: a copied page of another version differs.
func codeWord(id string, version int32, doc []byte) string {
	h := sha256.New()
	fmt.Fprintf(h, "%s/%d/", id, version)
	h.Write(doc)
	sum := h.Sum(nil)
	return codeWords[int(sum[0])%len(codeWords)] + " " + codeWords[int(sum[1])%len(codeWords)]
}

// Short words that are told apart over a bad radio and in a wet hand; none is
// a word of the water's edge.
var codeWords = strings.Fields(`
amber anvil apple arrow badger bamboo banjo barley basil beacon beetle birch bishop bramble bronze button
cactus candle canyon carrot cedar cherry cinder cobalt comet copper coral cotton cricket crimson daisy dagger
denim dragon eagle ember falcon fennel ferry fiddle flint forest garlic ginger glacier granite hammer harbour
hazel helmet heron honey indigo iris ivory jacket jasper kettle lantern lemon linen lizard lotus magnet
mango maple marble meadow melon mustard nectar needle nickel nutmeg olive onion opal orchid otter paddle
panther paper parrot pebble pepper pewter pigeon pistol planet plum pocket poppy prairie pumpkin quartz rabbit
raven ribbon robin rocket saddle saffron salmon sandal scarlet shadow silver sparrow spruce squash sugar
summer tablet teapot thistle thunder tiger timber tomato topaz tulip tunnel turnip umber velvet violet
walnut willow winter wombat yarrow zebra`)

// OpenPlans lists the plans that no entry, end or archiving has settled, by planned entry. The policy that is in force judges them.
func OpenPlans(ctx context.Context, q Querier) ([]string, error) {
	rows, err := q.Query(ctx, `SELECT id FROM plan WHERE state IN ('draft', 'submitted', 'approved', 'stale') AND NOT archived ORDER BY planned_entry, id`)
	if err != nil {
		return nil, translate(err)
	}
	ids, err := pgx.CollectRows(rows, pgx.RowTo[string])
	return ids, translate(err)
}
