package rpc

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
)

// validated refuses a message that breaks the rules written beside its fields in the published interface, with everything that
// is wrong at once. What was read ahead for was found valid then.
func (c Chain) validated(ctx context.Context, request any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	m, ok := request.(proto.Message)
	if _, done := readAhead(ctx); !ok || done {
		return handler(ctx, request)
	}
	problems, err := Violations(c.Valid, m)
	if err != nil {
		return nil, err
	}
	if file, ok := request.(*lastlightv1.ApplyRecordsRequest); ok && len(problems) > 0 && !slices.ContainsFunc(problems, outsideRecords) {
		return c.triedAnyway(ctx, file, problems, info, handler)
	}
	if err := fault.Wrong(problems); err != nil {
		return nil, err
	}
	return handler(ctx, request)
}

func outsideRecords(p fault.Problem) bool { return !strings.HasPrefix(p.Field, "records[") }

// triedAnyway answers a file with records that break rules: problems are its answer and not an error, in any number, together
// with those that only the register knows. Nothing is stored: the handler is asked for a dry run, whatever the caller asked for.
func (c Chain) triedAnyway(ctx context.Context, file *lastlightv1.ApplyRecordsRequest, found []fault.Problem, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	answer := &lastlightv1.ApplyRecordsResponse{}
	tried, err := c.recovered(ctx, &lastlightv1.ApplyRecordsRequest{Records: file.Records, DryRun: true, RequestId: file.RequestId}, info, handler)
	if err != nil {
		// What is wrong is known already; that such records confuse the register as well is no news to the caller.
		c.Log.DebugContext(ctx, "dry run of invalid records failed", "error", err.Error())
	}
	named := map[string]bool{}
	for _, p := range found {
		named[p.Field] = true
		answer.Problems = append(answer.Problems, &lastlightv1.Problem{Field: p.Field, Read: p.Read, Expected: p.Expected, Message: p.Message, Line: int32(p.Line), Column: int32(p.Column)})
	}
	if more, ok := tried.(*lastlightv1.ApplyRecordsResponse); ok && err == nil {
		for _, p := range more.GetProblems() {
			if !named[p.Field] {
				answer.Problems = append(answer.Problems, p)
			}
		}
	}
	slices.SortStableFunc(answer.Problems, func(a, b *lastlightv1.Problem) int { return recordOf(a.Field) - recordOf(b.Field) })
	return answer, nil
}

// recordOf is the number of the record that a field path of a file stands in; -1 for none.
func recordOf(path string) int {
	var n int
	if _, err := fmt.Sscanf(path, "records[%d]", &n); err != nil {
		return -1
	}
	return n
}
