package rpc

import (
	"strings"
	"testing"

	"google.golang.org/protobuf/types/known/structpb"
)

// A message may be nested thousands of times: looking through it must cost no more than its size, and only what is wrong is named.
func TestTextsOfADeepMessage(t *testing.T) {
	deep := func(text string) *structpb.ListValue {
		v := structpb.NewStringValue(text)
		for range 2000 {
			v = structpb.NewListValue(&structpb.ListValue{Values: []*structpb.Value{v}})
		}
		return &structpb.ListValue{Values: []*structpb.Value{v}}
	}
	good := deep("x")
	if n := testing.AllocsPerRun(1, func() { unreadable(good) }); n > 100_000 {
		t.Errorf("%v allocations for a message of 2,000 levels", n)
	}
	found := unreadable(deep("\x1b"))
	if len(found) != 1 || !strings.HasPrefix(found[0].Field, "values[0].list_value.values[0].") || !strings.HasSuffix(found[0].Field, ".string_value") {
		t.Errorf("%d problems", len(found))
	}
}
