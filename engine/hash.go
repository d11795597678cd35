package engine

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"

	"lastlight/engine/rules"
)

// unhashed are the keys of input and report that never enter the hash: record
// versions and times of evaluation. A value that changes must fail an approval,
// an unrelated edit of a record must not.
var unhashed = map[string]bool{"version": true, "policy_version": true, "survey_version": true, "decided_at": true}

// Bytes writes an Input or a Report as it is stored and replayed: JSON with the
// fields in their fixed order. A value that is not a finite number is an error.
func Bytes(v any) ([]byte, error) { return json.Marshal(v) }

// Canonical is what the hash covers: the values of the facts and of the
// findings, as JSON with the fields in their fixed order.
func Canonical(in Input, r Report) ([]byte, error) {
	facts, err := json.Marshal(in)
	if err != nil {
		return nil, fmt.Errorf("facts: %w", err)
	}
	findings, err := json.Marshal(r.Findings)
	if err != nil {
		return nil, fmt.Errorf("findings: %w", err)
	}
	out := fmt.Appendf(make([]byte, 0, len(facts)+len(findings)+100), `{"engine":%q,"verdict":%q,"facts":`, r.EngineVersion, r.Verdict)
	out = appendHashed(out, facts)
	out = append(out, `,"findings":`...)
	out = appendHashed(out, findings)
	return append(out, '}'), nil
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

// SameReport tells whether two inputs have one report: they say the same, and
// the minutes at which they are judged, where those differ, mean the same to the
// rules. The error is that of Bytes.
func SameReport(a, b Input) (bool, error) {
	if rules.OnEarlierDay(&a) != rules.OnEarlierDay(&b) {
		return false, nil
	}
	b.DecidedAt = a.DecidedAt
	was, err := Bytes(a)
	if err != nil {
		return false, err
	}
	is, err := Bytes(b)
	return string(was) == string(is), err
}

// appendHashed appends compact JSON, as Marshal writes it, without the members
// that are not hashed. It works on the text: decoding a plan's facts into maps
// only to leave out some numbers costs three times what judging the plan does.
func appendHashed(out, text []byte) []byte {
	for i := 0; i < len(text); {
		if text[i] != '"' {
			out = append(out, text[i])
			i++
			continue
		}
		end := stringEnd(text, i)
		// In compact JSON a string is a name exactly where a colon follows.
		if end < len(text) && text[end] == ':' && unhashed[string(text[i+1:end-1])] {
			i = valueEnd(text, end+1)
			if text[i] == ',' {
				i++
			} else if out[len(out)-1] == ',' {
				out = out[:len(out)-1]
			}
			continue
		}
		out = append(out, text[i:end]...)
		i = end
	}
	return out
}

// stringEnd is the place after the string that begins at i.
func stringEnd(text []byte, i int) int {
	for i++; text[i] != '"'; i++ {
		if text[i] == '\\' {
			i++
		}
	}
	return i + 1
}

// valueEnd is the place after the value that begins at i.
func valueEnd(text []byte, i int) int {
	for depth := 0; i < len(text); {
		switch text[i] {
		case '"':
			i = stringEnd(text, i)
			if depth == 0 {
				return i
			}
			continue
		case '{', '[':
			depth++
		case '}', ']':
			if depth == 0 {
				return i
			}
			if depth--; depth == 0 {
				return i + 1
			}
		case ',':
			if depth == 0 {
				return i
			}
		}
		i++
	}
	return i
}
