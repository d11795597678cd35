package rpc

import (
	"context"

	"google.golang.org/protobuf/proto"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/store"
)

// Privacy serves PrivacyService.
type Privacy struct {
	lastlightv1.UnimplementedPrivacyServiceServer
	Store *store.Store
}

const privacyService = "/lastlight.v1.PrivacyService/"

// inPerson refuses a lent token what a person asks for in their own name and nobody for them: whoever issued it could use it.
func inPerson(ctx context.Context) error {
	if !access.CallerFrom(ctx).Token.Lent {
		return nil
	}
	return denied("this device's token was issued by a coordinator, who could use it too: ask the committee for one of your own")
}

// ListReads lists who was shown what of a person or a site.
func (h *Privacy) ListReads(ctx context.Context, r *lastlightv1.ListReadsRequest) (*lastlightv1.ListReadsResponse, error) {
	c := access.CallerFrom(ctx)
	r = proto.CloneOf(r)
	if r.Person == "" && r.Site == "" {
		r.Person = c.Person
	}
	if r.Person != "" && r.Site != "" {
		return nil, fault.Wrong([]fault.Problem{{Field: "site", Read: r.Site, Expected: "a person or a site, not both", Message: "a read is of one record"}})
	}
	var s access.Subject
	if r.Person != "" {
		all, err := h.Store.PersonSubjects(ctx, nil, c, []string{r.Person})
		if err != nil {
			return nil, err
		}
		s = all[r.Person]
	}
	if !access.May(c, privacyService+"ListReads", s) {
		if r.Site != "" {
			return nil, denied("the committee and the safety officer read who was shown where a site is")
		}
		return nil, fault.NoSuch("person", r.Person)
	}
	// Who looked up whom to ring tells who is away: until the dive is closed that is for those who see the board, and one's own.
	list, next, err := h.Store.ListReads(ctx, r, r.Person == c.Person && r.Person != "" || c.Sees(access.Board, access.Subject{}))
	return &lastlightv1.ListReadsResponse{Reads: list, NextPageToken: next}, err
}
