package store

import (
	"context"

	"github.com/jackc/pgx/v5"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

// IncidentsOf gives a page of the incidents that a person is in or has reported, whole: mask before showing.
func (s *Store) IncidentsOf(ctx context.Context, person, token string, size int) ([]*lastlightv1.Incident, string, error) {
	args := []any{person}
	after, err := ReadToken("incidents_of", args, token, 1)
	if err != nil {
		return nil, "", err
	}
	rows, err := s.pool.Query(ctx, incidentRow+`
WHERE i.id > $1 AND (i.reported_by = $2 OR EXISTS (SELECT FROM incident_person x WHERE x.incident = i.id AND x.person = $2)) ORDER BY i.id LIMIT $3`,
		first(after), person, size+1)
	if err != nil {
		return nil, "", translate(err)
	}
	list, err := pgx.CollectRows(rows, scanIncident)
	if err != nil {
		return nil, "", translate(err)
	}
	list, next := cut(list, size, "incidents_of", args, func(m *lastlightv1.Incident) []string { return []string{m.Id} })
	return list, next, nil
}

// ItemsOf gives a page of the ids of the cylinders and other equipment that a person owns.
func (s *Store) ItemsOf(ctx context.Context, person, token string, size int) ([]string, string, error) {
	args := []any{person}
	after, err := ReadToken("items_of", args, token, 1)
	if err != nil {
		return nil, "", err
	}
	ids, err := collectIDs(ctx, s.pool, `SELECT id FROM item WHERE owner = $2 AND id > $1 ORDER BY id LIMIT $3`, first(after), person, size+1)
	if err != nil {
		return nil, "", translate(err)
	}
	ids, next := cut(ids, size, "items_of", args, func(id string) []string { return []string{id} })
	return ids, next, nil
}

// ExpeditionsWith gives a page of the expeditions that a person takes part in, whole.
func (s *Store) ExpeditionsWith(ctx context.Context, person, token string, size int32) ([]*lastlightv1.Expedition, string, error) {
	return listByID(ctx, s, "expeditions_with", []any{person}, token, size, scanExpedition, expeditionRow+`
WHERE id > $1 AND EXISTS (SELECT FROM expedition_participant x WHERE x.expedition = expedition.id AND x.person = $3) ORDER BY id LIMIT $2`)
}

// LeftBy gives a page of what lies or lay in a cave in a person's name.
func (s *Store) LeftBy(ctx context.Context, person, token string, size int32) ([]*lastlightv1.LeftItem, string, error) {
	return listByID(ctx, s, "left_by", []any{person}, token, size, scanLeft, leftRow+` WHERE id > $1 AND owner = $3 ORDER BY id LIMIT $2`)
}
