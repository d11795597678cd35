package store

import (
	"crypto/rand"
	"strings"
)

// NewID makes a key for a record whose author chose none: the kind and 40
// random bits in letters and digits that are not mistaken for one another.
func NewID(kind string) string {
	return kind + "-" + strings.ToLower(randomWord(8))
}

// NewPseudonym makes what decisions keep instead of a name. It has a fixed
// length and shape, so that it is found again in the text of a stored report.
func NewPseudonym() string { return "P-" + randomWord(6) }

func randomWord(n int) string {
	const letters = "23456789ABCDEFGHJKMNPQRSTVWXYZ23" // 32: no bias
	b := make([]byte, n)
	_, _ = rand.Read(b) // never fails
	for i := range b {
		b[i] = letters[b[i]&31]
	}
	return string(b)
}
