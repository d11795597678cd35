package engine

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
)

// unhashed are the keys of input and report that never enter the hash: record
// versions and times of evaluation. A value that changes must fail an approval,
// an unrelated edit of a record must not.
var unhashed = map[string]bool{"version": true, "policy_version": true, "survey_version": true, "decided_at": true}

// Bytes writes an Input or a Report as it is stored and replayed: JSON with the
// fields in their fixed order. A value that is not a finite number is an error.
func Bytes(v any) ([]byte, error) { return json.Marshal(v) }

// Canonical is what the hash covers: the values of the facts and of the
// findings, as JSON with sorted keys.
func Canonical(in Input, r Report) ([]byte, error) {
	facts, err := stripped(in)
	if err != nil {
		return nil, fmt.Errorf("facts: %w", err)
	}
	findings, err := stripped(r.Findings)
	if err != nil {
		return nil, fmt.Errorf("findings: %w", err)
	}
	return json.Marshal(map[string]any{"engine": r.EngineVersion, "facts": facts, "findings": findings, "verdict": r.Verdict})
}

// Hash is the SHA-256 of Canonical in hexadecimal. A coordinator approves the
// report with this hash; the approval evaluates again and compares.
func Hash(in Input, r Report) (string, error) {
	b, err := Canonical(in, r)
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(b)
	return fmt.Sprintf("%x", sum), nil
}

// stripped turns a value into plain JSON values without the unhashed keys.
func stripped(v any) (any, error) {
	b, err := json.Marshal(v)
	if err != nil {
		return nil, err
	}
	var plain any
	if err := json.Unmarshal(b, &plain); err != nil {
		return nil, err
	}
	return strip(plain), nil
}

func strip(v any) any {
	switch v := v.(type) {
	case map[string]any:
		// order: each key is handled by itself.
		for k, x := range v {
			if unhashed[k] {
				delete(v, k)
			} else {
				v[k] = strip(x)
			}
		}
	case []any:
		for i, x := range v {
			v[i] = strip(x)
		}
	}
	return v
}
