package store

import (
	"crypto/rand"
	"crypto/sha256"
	"strings"
)

// NewID makes a key for a record whose author chose none. It follows from the
// request id, so that a repeated call asks for the same record.
func NewID(kind, requestID string) string {
	sum := sha256.Sum256([]byte(kind + "/" + requestID))
	return kind + "-" + strings.ToLower(word(sum[:8]))
}

// NewPseudonym makes what decisions keep instead of a name. It has a fixed
// length and shape, so that it is found again in the text of a stored report.
func NewPseudonym() string {
	var b [6]byte
	_, _ = rand.Read(b[:]) // never fails
	return "P-" + word(b[:])
}

// word writes each byte as one of 32 letters and digits that are not mistaken
// for one another.
func word(b []byte) string {
	const letters = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
	out := make([]byte, len(b))
	for i, x := range b {
		out[i] = letters[x&31]
	}
	return string(out)
}
