package recordfile

import (
	"os"
	"testing"
)

// FuzzRecordFile: any text is records or problems that say what they are.
func FuzzRecordFile(f *testing.F) {
	club, err := os.ReadFile("testdata/club.yaml")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(club)
	f.Add([]byte("records:\n  - site: {id: a, title: b}\n"))
	f.Add([]byte("records: &a\n  - *a\n"))
	f.Add([]byte("records: [{plan: {planned_entry: 2026-06-14T09:00+02:00, team: [{person: x}]}}]"))
	f.Fuzz(func(t *testing.T, text []byte) {
		_, problems := Read(Source{"f.yaml", text})
		if len(problems) > 0 && problems.Error() == "" {
			t.Fatal("problems without words")
		}
		_, _ = ParseInstant(string(text))
	})
}
