package watch

import "lastlight/engine/calendar"

// Role is what a person or a cylinder does in a plan.
type Role string

// The roles that bind.
const (
	RoleDiver    Role = "diver"
	RoleCylinder Role = "cylinder"
	RoleStandby  Role = "standby"
	RoleCover    Role = "cover"
)

// The states of a plan in which its duties bind (T34); every other state is free.
const (
	StateApproved = "approved"
	StateStale    = "stale"
	StateInWater  = "in_water"
)

// Duty is one person's or one cylinder's duty in a plan.
type Duty struct {
	Plan  string           `json:"plan"`
	Role  Role             `json:"role"`
	State string           `json:"state"` // of the plan; only the states named above bind
	Entry calendar.Instant `json:"entry"`
	Out   calendar.Instant `json:"out"`  // latest surfacing
	Dial  calendar.Instant `json:"dial"` // end of standby and cover

	// For StateInWater. SeenOut is the minute this diver was seen out; for standby,
	// cover and cylinders the minute the last diver was, with AllSeenOut.
	AllSeenOut bool             `json:"all_seen_out,omitempty"`
	SeenOut    calendar.Instant `json:"seen_out,omitzero"`
}

// bound gives the closed span of the duty; endless when it has no end yet.
func (d Duty) bound() (from, to calendar.Instant, endless, binds bool) {
	to = d.Out
	if d.Role == RoleStandby || d.Role == RoleCover {
		to = d.Dial
	}
	switch d.State {
	case StateApproved, StateStale:
	case StateInWater:
		switch {
		case !d.SeenOut.IsZero() && (d.AllSeenOut || d.Role == RoleDiver):
			to = d.SeenOut
		case !d.AllSeenOut:
			endless = true
		}
	default:
		return d.Entry, to, false, false
	}
	return d.Entry, to, endless || to.IsZero(), true
}

// Conflict says whether two duties of one person, or of one cylinder, overlap:
// closed spans, touching in one minute counts; bufferMin is the club's pause
// between duties, in minutes.
func Conflict(a, b Duty, bufferMin int) bool {
	aFrom, aTo, aEndless, aBinds := a.bound()
	bFrom, bTo, bEndless, bBinds := b.bound()
	if !aBinds || !bBinds {
		return false
	}
	return (aEndless || !bFrom.After(aTo.Add(bufferMin))) && (bEndless || !aFrom.After(bTo.Add(bufferMin)))
}
