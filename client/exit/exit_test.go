package exit

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// TestEveryStatusHasItsCode, written out again: the contract with scripts.
func TestEveryStatusHasItsCode(t *testing.T) {
	t.Parallel()
	want := map[codes.Code]Code{
		codes.OK: 0, codes.Canceled: 4, codes.Unknown: 7, codes.InvalidArgument: 5, codes.DeadlineExceeded: 4, codes.NotFound: 3,
		codes.AlreadyExists: 6, codes.PermissionDenied: 3, codes.ResourceExhausted: 4, codes.FailedPrecondition: 6, codes.Aborted: 6,
		codes.OutOfRange: 5, codes.Unimplemented: 7, codes.Internal: 7, codes.Unavailable: 4, codes.DataLoss: 7, codes.Unauthenticated: 3,
	}
	for c := codes.OK; c <= codes.Unauthenticated; c++ {
		if got, ok := want[c]; !ok || OfStatus(c) != got || (c != codes.OK && Of(status.Error(c, "x")) != got) {
			t.Errorf("%s: %d, want %d", c, OfStatus(c), got)
		}
	}
	if len(Meanings) != 8 {
		t.Error("a code without words")
	}
}

func TestOf(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		err  error
		want Code
	}{{nil, Done}, {errors.New("x"), Internal}, {Silent(Refused), Refused}, {fmt.Errorf("while reading: %w", Errorf(Invalid, "x")), Invalid}} {
		if got := Of(c.err); got != c.want {
			t.Errorf("%v: %d, want %d", c.err, got, c.want)
		}
	}
	if Explain(Silent(Refused), "") != "" {
		t.Error("a refusal that was shown is explained again")
	}
	if got := Explain(status.Error(codes.Unavailable, "gone"), "id-1"); !strings.Contains(got, "--request-id id-1") {
		t.Error(got)
	}
}
