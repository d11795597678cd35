package bench

import (
	"context"
	"fmt"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	v1 "lastlight/proto/lastlight/v1"
)

// copied are the kinds of records that a plan rests on. Each caller gets copies of its own, so that no two lock the same rows.
var copied = []string{"person", "site", "survey", "cylinder", "equipment", "cylinder_set", "permit", "reading", "fill", "analysis", "dive"}

// copyRecords enters the demo's records once more for each caller, under ids of the caller's own, with what no file holds of
// those on the model plan: the medical status, and that somebody has seen the cards.
func (c *club) copyRecords(ctx context.Context, model *v1.Plan) error {
	records, err := c.exported(ctx)
	if err != nil {
		return err
	}
	c.ids = map[string]bool{}
	for _, r := range records {
		walk(r.ProtoReflect(), func(m protoreflect.Message, fd protoreflect.FieldDescriptor, text string) {
			// Legs, stations and cards have ids within their record; those of records and of services are the whole club's.
			if fd.Name() == "id" && (isRecord(m.Descriptor()) || m.Descriptor().Name() == "ServiceEvent") && text != "" {
				c.ids[text] = true
			}
		})
	}
	for caller := range c.as {
		if err := c.copyFor(ctx, caller, records, model); err != nil {
			return fmt.Errorf("records of caller %d: %w", caller, err)
		}
	}
	return nil
}

// isRecord tells whether a message is a record of a file by itself.
func isRecord(md protoreflect.MessageDescriptor) bool {
	fields := (&v1.Record{}).ProtoReflect().Descriptor().Fields()
	for i := range fields.Len() {
		if fields.Get(i).Message() == md {
			return true
		}
	}
	return false
}

func (c *club) exported(ctx context.Context) ([]*v1.Record, error) {
	var all []*v1.Record
	r := &v1.ExportRecordsRequest{Kinds: copied, PageSize: 1000}
	for {
		ctx, cancel := context.WithTimeout(ctx, deadline)
		page, err := v1.NewRecordServiceClient(c.conn).ExportRecords(ctx, r, c.who)
		cancel()
		if err != nil {
			return nil, fmt.Errorf("export the demo: %w", err)
		}
		all = append(all, page.GetRecords()...)
		if r.PageToken = page.GetNextPageToken(); r.PageToken == "" {
			return all, nil
		}
	}
}

// copyFor enters one caller's copies.
func (c *club) copyFor(ctx context.Context, caller int, records []*v1.Record, model *v1.Plan) error {
	ctx, cancel := context.WithTimeout(ctx, 2*deadline)
	defer cancel()
	request := &v1.ApplyRecordsRequest{RequestId: newRequest()}
	for _, r := range records {
		own := proto.CloneOf(r)
		if d := own.GetDive(); d != nil {
			d.Plan, d.PlanVersion, d.Expedition = "", 0, ""
		}
		if x := own.GetCylinder(); x != nil {
			x.Serial = c.named(x.GetSerial(), caller)
		}
		c.rename(own, caller)
		request.Records = append(request.Records, own)
	}
	answer, err := v1.NewRecordServiceClient(c.conn).ApplyRecords(ctx, request, c.who)
	if err != nil {
		return err
	}
	if p := answer.GetProblems(); len(p) > 0 {
		return fmt.Errorf("%s: %s (%d problems)", p[0].GetField(), p[0].GetMessage(), len(p))
	}
	roster := v1.NewRosterServiceClient(c.conn)
	people := append([]string{model.GetCover()}, model.GetStandby()...)
	for _, d := range model.GetTeam() {
		people = append(people, d.GetPerson())
	}
	for _, person := range people {
		p, err := roster.GetPerson(ctx, &v1.GetPersonRequest{Id: person}, c.who)
		if err != nil {
			return err
		}
		own := c.named(person, caller)
		if m := p.GetMedical(); m != nil {
			if _, err := roster.SetMedicalStatus(ctx, &v1.SetMedicalStatusRequest{Person: own, Medical: m, RequestId: newRequest()}, c.who); err != nil {
				return fmt.Errorf("medical status of %s: %w", own, err)
			}
		}
		for _, card := range p.GetCards() {
			if card.GetSeenBy() == "" {
				continue
			}
			seen := &v1.RecordCardSeenRequest{Person: own, Card: card.GetId(), SeenAt: card.GetSeenAt(), RequestId: newRequest()}
			if _, err := roster.RecordCardSeen(ctx, seen, c.who); err != nil {
				return fmt.Errorf("card %s of %s: %w", card.GetId(), own, err)
			}
		}
	}
	return nil
}

// named is a caller's own form of an id.
func (c *club) named(id string, caller int) string {
	return fmt.Sprintf("%s-%s-%d", id, c.suffix, caller)
}

// rename puts a caller's own ids in place of the demo's.
func (c *club) rename(m proto.Message, caller int) {
	walk(m.ProtoReflect(), func(m protoreflect.Message, fd protoreflect.FieldDescriptor, text string) {
		if !c.ids[text] {
			return
		}
		if own := protoreflect.ValueOfString(c.named(text, caller)); !fd.IsList() {
			m.Set(fd, own)
		} else {
			list := m.Mutable(fd).List()
			for i := range list.Len() {
				if list.Get(i).String() == text {
					list.Set(i, own)
				}
			}
		}
	})
}

// walk visits every text of a message, those in lists one by one.
func walk(m protoreflect.Message, visit func(protoreflect.Message, protoreflect.FieldDescriptor, string)) {
	m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case fd.IsMap():
		case fd.Kind() == protoreflect.StringKind && fd.IsList():
			var texts []string
			for i := range v.List().Len() {
				texts = append(texts, v.List().Get(i).String())
			}
			for _, t := range texts {
				visit(m, fd, t)
			}
		case fd.Kind() == protoreflect.StringKind:
			visit(m, fd, v.String())
		case fd.Message() != nil && fd.IsList():
			for i := range v.List().Len() {
				walk(v.List().Get(i).Message(), visit)
			}
		case fd.Message() != nil:
			walk(v.Message(), visit)
		}
		return true
	})
}

// coordinators makes one for each caller, with a token each.
func (c *club) coordinators(ctx context.Context, committee grpc.CallOption, callers int) error {
	people, access := v1.NewRosterServiceClient(c.conn), v1.NewAccessServiceClient(c.conn)
	for i := range callers {
		me := fmt.Sprintf("bench-coordinator-%s-%d", c.suffix, i)
		if _, err := people.CreatePerson(ctx, &v1.CreatePersonRequest{Person: &v1.Person{Id: me, FullName: fmt.Sprintf("Bench Coordinator %d", i)}, RequestId: newRequest()}, committee); err != nil {
			return fmt.Errorf("create a coordinator of the bench: %w", err)
		}
		for _, role := range []string{"coordinator", "site_officer", "cover"} {
			grant := &v1.RoleGrant{Person: me, Role: role}
			if _, err := access.GrantRole(ctx, &v1.GrantRoleRequest{Grant: grant, RequestId: newRequest()}, committee); err != nil {
				return fmt.Errorf("grant %s: %w", role, err)
			}
		}
		issued, err := access.IssueToken(ctx, &v1.IssueTokenRequest{Person: me, Device: "bench", RequestId: newRequest()}, committee)
		if err != nil {
			return fmt.Errorf("issue a token: %w", err)
		}
		c.as = append(c.as, grpc.PerRPCCredentials(bearer(issued.GetSecret())))
	}
	c.who = c.as[0]
	return nil
}
