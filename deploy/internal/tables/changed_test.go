package tables

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestAChangedDigitIsSeen changes one digit of each table and expects its reader
// to object: a reader that compares nothing passes everything.
func TestAChangedDigitIsSeen(t *testing.T) {
	for name, change := range map[string][2]string{
		"isa.json":              {"977.7258", "977.7358"},
		"zhl16_table.json":      {"0.7825", "0.7725"},
		"tissue_profiles.json":  {"\"pN2\": 1.3", "\"pN2\": 1.4"},
		"ndl.json":              {"881.6466", "881.6496"},
		"schedules.json":        {"\"minutes\": 15", "\"minutes\": 14"},
		"oxygen.json":           {"48.960782", "48.970782"},
		"gas_virial_model.json": {"0.0011297035221358", "0.0011297035321358"},
		"ztable.json":           {"0.987716", "0.987718"},
		"examples.json":         {"1.851798", "1.851898"},
		"dates.json":            {"\"days_left\": 682", "\"days_left\": 683"},
		"passages.json":         {"0.0348744", "0.0348754"},
	} {
		content, err := os.ReadFile(filepath.Join("../../../testdata/tables", name))
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(string(content), change[0]) {
			t.Errorf("%s: %q is not in it", name, change[0])
			continue
		}
		changed := strings.Replace(string(content), change[0], change[1], 1)
		result, err := Check(For(name), []byte(changed))
		if err == nil && len(result.Failures) == 0 {
			t.Errorf("%s: %q for %q passes", name, change[1], change[0])
		}
	}
}

// Wild content is an error or a failure of the file, never a panic that ends the run.
func TestWildContent(t *testing.T) {
	for _, prefix := range Known() {
		for _, content := range []string{"", "{}", "[]", "null", "[{}]", `{"scenarios":[{}]}`, `{"scenarios":[{"id":"x","input":{"team":[{}],"route":{"moves":[{}]}}}]}`} {
			result, err := Check(For(prefix+".json"), []byte(content))
			if err == nil && result == nil {
				t.Errorf("%s: neither result nor error for %q", prefix, content)
			}
		}
	}
}
