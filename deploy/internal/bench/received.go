package bench

import (
	"fmt"

	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
)

// received is a codec that leaves answers encoded: what a client makes of an answer is not the server's time.
type received struct{}

func (received) Name() string { return "proto" }

func (received) Marshal(v any) (mem.BufferSlice, error) {
	b, err := proto.Marshal(v.(proto.Message))
	return mem.BufferSlice{mem.SliceBuffer(b)}, err
}

func (received) Unmarshal(data mem.BufferSlice, v any) error {
	*v.(*[]byte) = data.Materialize()
	return nil
}

// countField counts how often a field of messages stands in an encoded message.
func countField(b []byte, field protowire.Number) (int, error) {
	n := 0
	for len(b) > 0 {
		number, _, length := protowire.ConsumeField(b)
		if length < 0 {
			return 0, fmt.Errorf("an answer that is no message: %w", protowire.ParseError(length))
		}
		if number == field {
			n++
		}
		b = b[length:]
	}
	return n, nil
}
