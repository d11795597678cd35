package access

import "testing"

// FuzzSecret: a secret that is taken is one that could have been made.
func FuzzSecret(f *testing.F) {
	f.Add(NewSecret().Reveal())
	f.Add(SecretPrefix)
	f.Add("")
	f.Fuzz(func(t *testing.T, text string) {
		if s, ok := ParseSecret(text); ok && (s.Reveal() != text || s.String() == text) {
			t.Fatalf("%q is taken as another, or shown", text)
		}
		_, _ = ParseRole(text)
	})
}
