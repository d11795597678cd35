package route

import "flag"

// Properties run with 300 cases unless -rapid.checks says otherwise.
func init() {
	if f := flag.Lookup("rapid.checks"); f != nil {
		_ = f.Value.Set("300")
	}
}
