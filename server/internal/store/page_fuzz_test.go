package store

import "testing"

// FuzzPageToken: a token is taken only for the list it was made for, with as many values.
func FuzzPageToken(f *testing.F) {
	f.Add("")
	f.Add("e30")
	f.Add("eyJiIjoieCIsImEiOlsiMSJdfQ")
	f.Fuzz(func(t *testing.T, text string) {
		after, err := ReadToken("dives", []any{"spring"}, text, 2)
		if err == nil && text != "" && len(after) != 2 {
			t.Fatalf("%q is taken with %v", text, after)
		}
	})
}
