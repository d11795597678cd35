package rpc

import (
	"context"
	"errors"
	"strings"

	"lastlight/engine/calendar"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/store"
)

// hindrances are why an erasure waits, and what to do about it.
var hindrances = map[string]*lastlightv1.ErasureHindrance{
	// Of any incident, so that it does not tell whose it is.
	"frozen": {Why: "the club's records are frozen for the time being: nothing is taken out of them", ToDo: "the safety officer knows until when; the request stands meanwhile"},
	// One for both: it does not tell who is away.
	"planned":           {Why: "an approved plan counts on this person, or a dive with them, or covered by them, is not closed", ToDo: "withdraw the plan, change its team, or close the dive once everybody is out"},
	"guardian":          {Why: "they are the guardian of a minor on record", ToDo: "name another guardian, and end the role"},
	"last_of_committee": {Why: "nobody else is on the committee", ToDo: "give somebody else the role first"},
}

// explained puts the words to the codes.
func explained(p *lastlightv1.ErasurePreview) *lastlightv1.ErasurePreview {
	for _, h := range p.GetHindrances() {
		h.Why, h.ToDo = hindrances[h.Code].GetWhy(), hindrances[h.Code].GetToDo()
	}
	return p
}

// mayErase tells whether the caller speaks for the person in this, and who it is about.
func (h *Privacy) mayErase(ctx context.Context, method, person string) (string, error) {
	if err := inPerson(ctx); err != nil {
		return "", err
	}
	c := access.CallerFrom(ctx)
	if person == "" {
		person = c.Person
	}
	all, err := h.Store.PersonSubjects(ctx, nil, c, []string{person})
	if err != nil {
		return "", err
	}
	s := all[person]
	if !access.May(c, privacyService+method, s) {
		return "", fault.NoSuch("person", person)
	}
	if s.Relation&access.Self != 0 || c.Anywhere().Any(access.Committee) {
		return person, nil
	}
	// A guardian and the welfare officer speak for a minor, and for nobody of age.
	minor, err := h.minor(ctx, person)
	if err == nil && !minor {
		err = denied("whoever is of age asks for themselves, or by a letter to the committee")
	}
	return person, err
}

// minor tells whether a person is below the policy's age today, in the club's zone; without a date of birth nobody can tell.
func (h *Privacy) minor(ctx context.Context, person string) (bool, error) {
	m, err := h.Store.GetPerson(ctx, person)
	if err != nil {
		return false, err
	}
	in, err := h.Store.PolicyInForce(ctx)
	if err != nil {
		return false, err
	}
	_, zone, err := h.Store.Club(ctx)
	if err != nil {
		return false, err
	}
	born, err := calendar.ParseDay(m.GetBirthDay())
	if err != nil {
		return false, nil
	}
	return dates.Today(h.Store.Now(), zone).Before(born.AddMonths(12 * in.People.AdultAge)), nil
}

// CheckErasure says what an erasure would do.
func (h *Privacy) CheckErasure(ctx context.Context, r *lastlightv1.CheckErasureRequest) (*lastlightv1.ErasurePreview, error) {
	person, err := h.mayErase(ctx, "CheckErasure", r.Person)
	if err != nil {
		return nil, err
	}
	out, err := h.Store.CheckErasure(ctx, person)
	return explained(out), err
}

// RequestErasure records that it is asked for.
func (h *Privacy) RequestErasure(ctx context.Context, r *lastlightv1.RequestErasureRequest) (*lastlightv1.Erasure, error) {
	c := access.CallerFrom(ctx)
	person, err := h.mayErase(ctx, "RequestErasure", r.Person)
	if err != nil {
		return nil, err
	}
	_, zone, err := h.Store.Club(ctx)
	if err != nil {
		return nil, err
	}
	p := fault.Collect("")
	dates.Past(p, "written_day", r.WrittenDay, dates.Today(h.Store.Now(), zone))
	spoken := person == c.Person || c.Guards(person) || c.Anywhere().Any(access.WelfareOfficer)
	switch {
	case !spoken && r.WrittenDay == "":
		p.Add("written_day", "", "the day of the person's letter, YYYY-MM-DD", "the committee asks for somebody else on a letter alone")
	case !c.Anywhere().Any(access.Committee) && r.WrittenDay != "":
		p.Add("written_day", r.WrittenDay, "nothing", "a letter is the committee's to enter")
	}
	if err := p.Err(); err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, privacyService+"RequestErasure", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Erasure, error) {
		return tx.RequestErasure(ctx, person, r.WrittenDay)
	})
}

// WithdrawErasure takes a request back.
func (h *Privacy) WithdrawErasure(ctx context.Context, r *lastlightv1.WithdrawErasureRequest) (*lastlightv1.Erasure, error) {
	person, err := h.mayErase(ctx, "WithdrawErasure", r.Person)
	if err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, privacyService+"WithdrawErasure", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Erasure, error) {
		return tx.WithdrawErasure(ctx, person)
	})
}

// ConfirmErasure carries a request out.
func (h *Privacy) ConfirmErasure(ctx context.Context, r *lastlightv1.ConfirmErasureRequest) (*lastlightv1.Erasure, error) {
	out, err := store.Mutate(ctx, h.Store, mutation(ctx, privacyService+"ConfirmErasure", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Erasure, error) {
		return tx.ConfirmErasure(ctx, r.Person, r.Hash)
	})
	if waits, ok := errors.AsType[*store.Hindered](err); ok {
		var why []string
		for _, code := range waits.Codes {
			why = append(why, hindrances[code].GetWhy()+" ("+hindrances[code].GetToDo()+")")
		}
		return nil, &fault.Error{Kind: fault.WrongState, Reason: "ERASURE_HINDERED", Message: "nobody is erased yet: " + strings.Join(why, "; ")}
	}
	return out, err
}

// ListErasures lists requests.
func (h *Privacy) ListErasures(ctx context.Context, r *lastlightv1.ListErasuresRequest) (*lastlightv1.ListErasuresResponse, error) {
	c := access.CallerFrom(ctx)
	of := append([]string{c.Person}, c.Wards...)
	if c.Anywhere().Any(access.Committee) {
		of = nil
	}
	list, next, err := h.Store.ListErasures(ctx, r, of)
	return &lastlightv1.ListErasuresResponse{Erasures: list, NextPageToken: next}, err
}
