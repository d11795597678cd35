package rpc

import (
	"testing"

	"google.golang.org/grpc/codes"

	"lastlight/server/internal/fault"
)

// A caller tells kinds of failure apart by their codes, and so by what to do next: ask again, mend, read anew.
func TestEveryKindHasACodeOfItsOwn(t *testing.T) {
	of := map[codes.Code]fault.Kind{}
	for _, k := range fault.Kinds() {
		c := code(k)
		if former, taken := of[c]; taken {
			t.Errorf("kinds %d and %d are both %s", former, k, c)
		}
		of[c] = k
	}
}
