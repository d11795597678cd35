// Package incident says what must hold of incident reports: no names in what
// the club will read, and whom an injury keeps out of the water.
package incident

import (
	"fmt"
	"regexp"
	"strings"
	"time"
	"unicode/utf8"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/fault"
)

// Name is a person of the club as their name may turn up in a text.
type Name struct {
	Person string
	Full   string
	Short  string
}

// Check notes what is wrong with an incident. names are all the club's people.
func Check(p *fault.Problems, m *lastlightv1.Incident, names []Name, now time.Time) {
	dates.Instant(p, "happened_at", m.HappenedAt.AsTime(), now)
	for i, n := range m.Injured {
		if n < 1 || int(n) > len(m.People) {
			p.Addf(fmt.Sprint(n), fmt.Sprintf("1 to %d, a place in people", len(m.People)), "nobody stands there", "injured[%d]", i)
		}
	}
	involved := map[string]int{}
	for i, id := range m.People {
		involved[id] = i + 1
	}
	for _, t := range texts(m) {
		CheckText(p, t.field, t.text, names, involved)
	}
}

type text struct{ field, text string }

func texts(m *lastlightv1.Incident) []text {
	return []text{
		{"narrative", m.Narrative},
		{"trigger", m.Trigger},
		{"harmful_action", m.HarmfulAction},
		{"preceding_event", m.PrecedingEvent},
		{"outcome", m.Outcome},
		{"went_right", m.WentRight},
		{"lessons", m.Lessons},
	}
}

// CheckText notes each name of the club's people in a text: whole names of
// everybody, single parts of the name of those involved. involved gives the N
// of "diver N" by person.
func CheckText(p *fault.Problems, field, text string, names []Name, involved map[string]int) {
	if text == "" {
		return
	}
	words := wordsOf(text)
	whole := " " + strings.Join(words, " ") + " "
	for _, n := range names {
		say := func(found string) {
			expected := "no names"
			if ordinal := involved[n.Person]; ordinal > 0 {
				expected = fmt.Sprintf("\"diver %d\"", ordinal)
			}
			p.Add(field, found, expected, "the name of one of the club's people stands in the text")
		}
		full := wordsOf(n.Full)
		if len(full) > 1 && strings.Contains(whole, " "+strings.Join(full, " ")+" ") {
			say(n.Full)
			continue
		}
		if involved[n.Person] == 0 {
			continue
		}
		for _, part := range append(full, wordsOf(n.Short)...) {
			// Particles and initials are words of every text.
			if utf8.RuneCountInString(part) >= 3 && strings.Contains(whole, " "+part+" ") {
				say(part)
				break
			}
		}
	}
}

var notWord = regexp.MustCompile(`[^\p{L}\p{N}]+`)

// wordsOf splits into lower-case words; "Anna's" has the word anna.
func wordsOf(s string) []string {
	return strings.Fields(notWord.ReplaceAllString(strings.ToLower(s), " "))
}
