// Package plan is the life of a plan: which operation is allowed in which
// state, and what follows.
package plan

import (
	"slices"
	"time"

	"lastlight/server/internal/fault"
)

// State of a plan. The words are those of the register.
type State string

// The states.
const (
	Draft     State = "draft"
	Submitted State = "submitted"
	Approved  State = "approved"
	Refused   State = "refused"
	Withdrawn State = "withdrawn"
	Stale     State = "stale"   // a fact it relied on changed; state_reasons says which
	Expired   State = "expired" // not entered by its enter-by time
	InWater   State = "in_water"
	Closed    State = "closed"
)

// States lists every state.
func States() []State {
	return []State{Draft, Submitted, Approved, Refused, Withdrawn, Stale, Expired, InWater, Closed}
}

// Operation on a plan.
type Operation string

// The operations.
const (
	Edit        Operation = "edit"
	Archive     Operation = "archive"
	Submit      Operation = "submit"
	Approve     Operation = "approve"
	Refuse      Operation = "refuse"
	Waive       Operation = "waive"
	Countersign Operation = "countersign"
	TakeBack    Operation = "withdraw a waiver"
	Withdraw    Operation = "withdraw"
	GoStale     Operation = "go stale"
	Expire      Operation = "expire"
	Acknowledge Operation = "acknowledge"
	Enter       Operation = "enter"
	Close       Operation = "close"
)

// Operations lists every operation.
func Operations() []Operation {
	return []Operation{Edit, Archive, Submit, Approve, Refuse, Waive, Countersign, TakeBack, Withdraw, GoStale, Expire, Acknowledge, Enter, Close}
}

// move is what one operation does: from these states to that one; empty: stays.
type move struct {
	from []State
	to   State
}

// moves is the whole of what is allowed. An operation that is not here, or a
// state that is not listed for it, is refused.
var moves = map[Operation]move{
	Edit:        {from: []State{Draft, Submitted, Approved, Refused, Withdrawn, Stale, Expired}, to: Draft},
	Archive:     {from: []State{Draft, Refused, Withdrawn, Expired, Closed}},
	Submit:      {from: []State{Draft, Submitted, Refused, Stale}, to: Submitted},
	Approve:     {from: []State{Submitted, Stale}, to: Approved},
	Refuse:      {from: []State{Submitted, Stale, Approved}, to: Refused},
	Waive:       {from: []State{Submitted, Stale}},
	Countersign: {from: []State{Submitted, Stale}},
	TakeBack:    {from: []State{Submitted, Approved, Stale}},
	Withdraw:    {from: []State{Draft, Submitted, Approved, Refused, Stale}, to: Withdrawn},
	GoStale:     {from: []State{Approved, Stale}, to: Stale},
	Expire:      {from: []State{Approved, Stale}, to: Expired},
	Acknowledge: {from: []State{Submitted, Approved, Stale}},
	Enter:       {from: []State{Approved, Stale}, to: InWater},
	Close:       {from: []State{InWater}, to: Closed},
}

// From gives the states from which the operation is allowed, for the guarded update.
func From(op Operation) []string {
	var names []string
	for _, s := range moves[op].from {
		names = append(names, string(s))
	}
	return names
}

// Next gives the state after the operation, or the fault that says what is allowed.
func Next(id string, state State, op Operation) (State, error) {
	m, known := moves[op]
	if !known || !slices.Contains(m.from, state) {
		return state, fault.NotInState("plan", id, string(state), From(op)...).With("operation", string(op))
	}
	if m.to == "" {
		return state, nil
	}
	return m.to, nil
}

// IsOverdue tells whether an approval was not used in time: it reads as expired
// at once, whenever the sweep that says so in the register comes by.
func IsOverdue(state State, enterBy *time.Time, now time.Time) bool {
	return (state == Approved || state == Stale) && enterBy != nil && now.After(*enterBy)
}
