package policy

import (
	"encoding/json"
	"testing"
)

// FuzzFraction: what is read is above 0, at most 1, and written as it was read.
func FuzzFraction(f *testing.F) {
	for _, s := range []string{"1/3", "2/6", "0/1", "5/4", "1/1000", "1/ 3", "-1/3", "1/3/2", ""} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		x, err := ParseFraction(text)
		if err != nil || x.Zero() {
			return
		}
		if v := x.Value(); !(v > 0 && v <= 1) {
			t.Fatalf("%q is %v", text, v)
		}
		if again, err := ParseFraction(x.String()); err != nil || again != x {
			t.Fatalf("%q is written %q: %v", text, x, err)
		}
	})
}

// FuzzPolicy: any document that can be read is validated without a panic.
func FuzzPolicy(f *testing.F) {
	b, err := json.Marshal(Default())
	if err != nil {
		f.Fatal(err)
	}
	f.Add(b)
	f.Add([]byte(`{"ladder":[{}],"watch":{"grace_share":"1/0"}}`))
	f.Fuzz(func(_ *testing.T, b []byte) {
		var p Policy
		if json.Unmarshal(b, &p) == nil {
			p.Validate()
		}
	})
}
