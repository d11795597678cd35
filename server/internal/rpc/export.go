package rpc

import (
	"context"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/message"
	"lastlight/server/internal/store"
)

// exporter writes out one kind, as far as the caller may list it.
type exporter struct {
	method string // that lists the kind
	// page gives a page and the token of the next.
	page func(ctx context.Context, h *Files, token string, size int32) ([]proto.Message, string, error)
	// ids gives single records; those that are not there are left out.
	ids func(ctx context.Context, h *Files, ids []string) ([]proto.Message, error)
}

// ExportRecords writes records as the file they could have come from, a page at
// a time: what is restricted or written by the server is in none, and what the
// caller does not see is left out as in every other answer.
func (h *Files) ExportRecords(ctx context.Context, r *lastlightv1.ExportRecordsRequest) (*lastlightv1.ExportRecordsResponse, error) {
	kinds, err := exportKinds(access.CallerFrom(ctx), r.Kinds)
	if err != nil {
		return nil, err
	}
	args := []any{kinds, r.Ids}
	after, err := store.ReadToken("export", args, r.PageToken, 2)
	if err != nil {
		return nil, err
	}
	out := &lastlightv1.ExportRecordsResponse{}
	if len(r.Ids) > 0 {
		for _, kind := range kinds {
			list, err := exporters[kind].ids(ctx, h, r.Ids)
			if err != nil {
				return nil, err
			}
			out.Records = append(out.Records, asRecords(kind, list)...)
		}
		return out, nil
	}
	place, inner := 0, ""
	if after != nil {
		if place, err = strconv.Atoi(after[0]); err != nil || place < 0 || place >= len(kinds) {
			return nil, fault.Wrong([]fault.Problem{{Field: "page_token", Read: r.PageToken, Expected: "a next_page_token of this very export", Message: "not a token of this export"}})
		}
		inner = after[1]
	}
	size := r.PageSize
	if size == 0 {
		size = 200
	}
	for place < len(kinds) {
		left := size - int32(len(out.Records))
		if left <= 0 {
			out.NextPageToken = store.NextToken("export", args, strconv.Itoa(place), inner)
			break
		}
		list, next, err := exporters[kinds[place]].page(ctx, h, inner, left)
		if err != nil {
			return nil, err
		}
		out.Records = append(out.Records, asRecords(kinds[place], list)...)
		if inner = next; next == "" {
			place++
		}
	}
	return out, nil
}

// exportKinds puts the kinds asked for in the order of a file. All that the caller may list, where none is named.
func exportKinds(c *access.Caller, asked []string) ([]string, error) {
	p := fault.Collect("")
	for i, kind := range asked {
		switch e, known := exporters[kind]; {
		case !known:
			p.Addf(kind, "one of "+strings.Join(kindOrder, ", "), "there is no such kind of record", "kinds[%d]", i)
		case !access.May(c, e.method, access.Subject{}):
			return nil, denied("none of your roles allows writing out records of kind " + kind)
		}
	}
	if err := p.Err(); err != nil {
		return nil, err
	}
	var kinds []string
	for _, kind := range kindOrder {
		if len(asked) == 0 && access.May(c, exporters[kind].method, access.Subject{}) || slices.Contains(asked, kind) {
			kinds = append(kinds, kind)
		}
	}
	return kinds, nil
}

func asRecords(kind string, list []proto.Message) []*lastlightv1.Record {
	out := make([]*lastlightv1.Record, 0, len(list))
	for _, m := range list {
		record := &lastlightv1.Record{}
		field := record.ProtoReflect().Descriptor().Fields().ByName(protoreflect.Name(kind))
		record.ProtoReflect().Set(field, protoreflect.ValueOfMessage(message.ForFile(m).ProtoReflect()))
		out = append(out, record)
	}
	return out
}

// messages gives list as messages, those that keep leaves.
func messages[M proto.Message](list []M, keep func(M) bool) []proto.Message {
	out := make([]proto.Message, 0, len(list))
	for _, m := range list {
		if keep == nil || keep(m) {
			out = append(out, m)
		}
	}
	return out
}

// each reads single records by id, leaving out those that are not there.
func each[M proto.Message](ids []string, get func(id string) (M, error)) ([]M, error) {
	var out []M
	for _, id := range ids {
		m, err := get(id)
		if fault.Is(err, fault.NotFound) {
			continue
		}
		if err != nil {
			return nil, err
		}
		out = append(out, m)
	}
	return out, nil
}

// wholeIncident tells whether a caller sees enough of an incident for a file.
func wholeIncident(c *access.Caller) func(*lastlightv1.Incident) bool {
	return func(m *lastlightv1.Incident) bool {
		shownIncident(c, m)
		return m.Narrative != ""
	}
}

// closedDive leaves out dives that are under way: they are no record yet.
func closedDive(c *access.Caller) func(*lastlightv1.Dive) bool {
	return func(m *lastlightv1.Dive) bool {
		shownDive(c, m, diveSubject(c, m, ""))
		return m.State == "closed"
	}
}

// forFile takes out what is in no file before it is asked who sees it: what is not shown is no read.
func forFile[M proto.Message](list []M) []M {
	for i, m := range list {
		list[i] = message.ForFile(m)
	}
	return list
}
