package store

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"

	"lastlight/server/internal/fault"
)

// DefaultPage is the page size where the caller names none.
const DefaultPage = 50

// PageSize is the size to use for what the caller asked.
func PageSize(asked int32) int {
	if asked <= 0 {
		return DefaultPage
	}
	return int(asked)
}

// token is a keyset position bound to the other arguments of the list: a token
// of another list, or of other filters, is refused.
type token struct {
	Bound uint64   `json:"b"`
	After []string `json:"a"`
}

func boundTo(list string, args ...any) uint64 {
	b, err := json.Marshal(append([]any{list}, args...))
	if err != nil {
		panic("store: list arguments that are not JSON: " + err.Error())
	}
	sum := sha256.Sum256(b)
	return binary.BigEndian.Uint64(sum[:8])
}

// NextToken makes the token for the page after the key values given.
func NextToken(list string, args []any, after ...string) string {
	b, err := json.Marshal(token{Bound: boundTo(list, args...), After: after})
	if err != nil {
		panic("store: page token: " + err.Error())
	}
	return base64.RawURLEncoding.EncodeToString(b)
}

// ReadToken gives the key values after which to go on; nil for the first page.
func ReadToken(list string, args []any, text string, values int) ([]string, error) {
	if text == "" {
		return nil, nil
	}
	var t token
	b, err := base64.RawURLEncoding.DecodeString(text)
	if err == nil {
		err = json.Unmarshal(b, &t)
	}
	if err != nil || t.Bound != boundTo(list, args...) || len(t.After) != values {
		return nil, fault.Wrong([]fault.Problem{{Field: "page_token", Read: text, Expected: "a next_page_token of this very list with the same filters", Message: "not a token of this list"}})
	}
	return t.After, nil
}
