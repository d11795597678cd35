package app

import (
	"testing"

	"lastlight/engine"
	"lastlight/engine/enginetest"
)

// FuzzConfig: any configuration file is taken or refused with its problems.
func FuzzConfig(f *testing.F) {
	f.Add("club: A\nlisten: 127.0.0.1:6000\n")
	f.Add("longest_call: [1]\n- x\n")
	f.Add("a: &x b\nc: *x\n")
	f.Fuzz(func(t *testing.T, text string) {
		_, _ = load(machine(nil, map[string]string{"l.yaml": text}), "l.yaml")
	})
}

// FuzzEvidence: any file is evidence that can be evaluated again, or none.
func FuzzEvidence(f *testing.F) {
	input, err := engine.Bytes(enginetest.Pair())
	if err != nil {
		f.Fatal(err)
	}
	f.Add(input)
	f.Add([]byte(`{"plan":"p","plan_version":1,"hash":"00","input":{},"report":{}}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		e, err := parseEvidence(text)
		if err != nil {
			return
		}
		if report, err := e.replay(); report == nil {
			t.Fatal(err)
		}
	})
}
