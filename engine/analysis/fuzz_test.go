package analysis

import "testing"

// FuzzDecimal: what is read is written and read again as the same number.
func FuzzDecimal(f *testing.F) {
	for _, s := range []string{"32.0", "-0", "999999.999999", "1.", ".5", "1e3", "+1", "0.0000001"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		d, err := ParseDecimal(text)
		if err != nil {
			return
		}
		again, err := ParseDecimal(d.String())
		if err != nil || again != d {
			t.Fatalf("%q is read as %v, and again as %v (%v)", text, d, again, err)
		}
	})
}
