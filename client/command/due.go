package command

import (
	"bytes"
	"context"
	"os"
	"strconv"

	"github.com/spf13/cobra"

	"lastlight/client/agenda"
	"lastlight/client/exit"
	"lastlight/client/screen"
	"lastlight/client/sheet"
	pb "lastlight/proto/lastlight/v1"
)

var dueColumns = []column[*pb.DueEntry]{
	plain("stops", (*pb.DueEntry).GetStops), plain("last day", (*pb.DueEntry).GetLastDay),
	plain("days", func(e *pb.DueEntry) string {
		if e.Days == nil {
			return ""
		}
		return strconv.Itoa(int(e.GetDays()))
	}),
	words("what", (*pb.DueEntry).GetWhat), words("to do", (*pb.DueEntry).GetToDo), plain("whose", (*pb.DueEntry).GetPerson),
	plain("ref", agenda.Ref),
}

func (a *app) due() *cobra.Command {
	cmd, build := command[*pb.ListDueRequest](a, verb{
		use: "due [PERSON]", short: "What falls due, what stops diving first", args: []string{"person?"},
		long: "Without a name: your own dates. stops says what it stops: now, the expedition, or " +
			"nothing yet; ended is over and stops nobody by itself. A calendar file has no names, " +
			"places or health in it: ref finds the entry here. Who is current, which rests on the " +
			"log, is not asked for the club.",
		example: "  lastlight due\n  lastlight due --expedition june-2026 --calendar due.ics\n  lastlight due --club --by 2026-12-31 --csv due.csv\n  lastlight due --item club-7",
	})
	limit := cmd.Flags().Int("limit", mostRows, "most rows to show")
	calendar := cmd.Flags().String("calendar", "", "write a calendar file (RFC 5545) instead of the list")
	csv := cmd.Flags().String("csv", "", "write a spreadsheet (RFC 4180) instead of the list")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if *limit < 1 || *limit > mostRows {
			return exit.Errorf(exit.Usage, "--limit %d: 1 to %d", *limit, mostRows)
		}
		req := &pb.ListDueRequest{}
		if err := build.request(cmd, args, req, nil); err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		all, more, err := pages(cmd.Context(), a, pb.NewDueServiceClient(conn), pb.DueServiceClient.ListDue, req, *limit)
		if err != nil {
			return err
		}
		if more {
			defer a.note("there are more than %d: narrow the list or raise --limit", *limit)
		}
		if *calendar == "" && *csv == "" {
			return a.dueList(cmd.Context(), all)
		}
		if *calendar != "" {
			if err := a.writeCalendar(*calendar, all); err != nil {
				return err
			}
		}
		if *csv != "" {
			return a.writeDueSheet(*csv, all)
		}
		return nil
	}
	return cmd
}

func (a *app) dueList(ctx context.Context, all *pb.ListDueResponse) error {
	return a.answer(ctx, all, func(w screen.View) error {
		if w.Page {
			return w.DuePage(all, agenda.Ref)
		}
		return rows(w, all, dueColumns)
	})
}

func (a *app) writeCalendar(name string, all *pb.ListDueResponse) error {
	if len(all.GetEntries()) == 0 {
		a.note("nothing is due: no calendar was written")
		return nil
	}
	var b bytes.Buffer
	if err := agenda.Write(&b, all, a.Now()); err != nil {
		return err
	}
	if err := os.WriteFile(name, b.Bytes(), 0o600); err != nil {
		return exit.Errorf(exit.Usage, "%w", err)
	}
	a.note("%d entries, calendar %s", len(all.GetEntries()), name)
	return nil
}

func (a *app) writeDueSheet(name string, all *pb.ListDueResponse) error {
	table := [][]string{{"stops", "last_day", "days", "kind", "id", "name", "person", "what", "to_do", "rule", "of", "clause", "ref"}}
	for _, e := range all.GetEntries() {
		days := ""
		if e.Days != nil {
			days = strconv.Itoa(int(e.GetDays()))
		}
		table = append(table, []string{
			e.GetStops(), e.GetLastDay(), days, e.GetKind(), e.GetId(), e.GetName(), e.GetPerson(), e.GetWhat(), e.GetToDo(), e.GetRule(), e.GetOf(), e.GetClause(), agenda.Ref(e),
		})
	}
	var b bytes.Buffer
	if err := sheet.Table(&b, table); err != nil {
		return err
	}
	if err := os.WriteFile(name, b.Bytes(), 0o600); err != nil {
		return exit.Errorf(exit.Usage, "%w", err)
	}
	a.note("%d entries, spreadsheet %s", len(all.GetEntries()), name)
	return nil
}
