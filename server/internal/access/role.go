// Package access says who may do what and who sees what: roles, the one table of methods, the one table of fields, tokens and
// the grants that give roles. It knows nothing of the wire or of the database.
package access

import (
	"fmt"
	"iter"
	"math/bits"
	"strings"
)

// Roles is a set of roles. The zero value is nobody.
type Roles uint16

// The roles of a club. One person may hold several, each for the whole club or for one expedition.
const (
	Diver Roles = 1 << iota
	Leader
	Coordinator
	Cover
	Blender
	SafetyOfficer
	MedicalOfficer
	WelfareOfficer
	SiteOfficer
	Guardian
	Committee
	Guest

	rolesEnd
)

const (
	// Everybody is every role there is.
	Everybody = rolesEnd - 1
	// Members are the club's own people: not its guests, and not the guardians of its minors as such.
	Members = Everybody &^ (Guest | Guardian)
)

// names are the words of the API, the files and the database, in the order of the constants.
var names = [...]string{
	"diver", "leader", "coordinator", "cover", "blender", "safety_officer", "medical_officer", "welfare_officer",
	"site_officer", "guardian", "committee", "guest",
}

// ParseRole reads the word of a single role, e.g. "safety_officer".
func ParseRole(word string) (Roles, error) {
	for i, n := range names {
		if n == word {
			return 1 << i, nil
		}
	}
	return 0, fmt.Errorf("unknown role %q: one of %s", word, strings.Join(names[:], ", "))
}

// Any tells whether the sets share a role.
func (r Roles) Any(other Roles) bool { return r&other != 0 }

// Each runs over the single roles of the set, in the order of the constants.
func (r Roles) Each() iter.Seq[Roles] {
	return func(yield func(Roles) bool) {
		for rest := r & Everybody; rest != 0; rest &= rest - 1 {
			if !yield(1 << bits.TrailingZeros16(uint16(rest))) {
				return
			}
		}
	}
}

// String gives the words, separated by commas.
func (r Roles) String() string {
	var words []string
	for one := range r.Each() {
		words = append(words, names[bits.TrailingZeros16(uint16(one))])
	}
	return strings.Join(words, ", ")
}
