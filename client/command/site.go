package command

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"lastlight/client/screen"
	"lastlight/client/table"
	pb "lastlight/proto/lastlight/v1"
)

func (a *app) site() *cobra.Command {
	c := pb.NewSiteServiceClient
	return a.noun("site", "Places where the club dives",
		list(a, verb{
			use: "list", short: "List sites", example: "  lastlight site list --search spring",
		}, c, pb.SiteServiceClient.ListSites,
			plain("id", (*pb.Site).GetId), words("title", (*pb.Site).GetTitle),
			plain("grade", func(s *pb.Site) string { return strconv.Itoa(int(s.GetGrade())) }),
			plain("time zone", (*pb.Site).GetTimeZone),
			plain("survey", func(s *pb.Site) string { return strconv.Itoa(int(s.GetLatestSurvey())) }),
			plain("archived", func(s *pb.Site) string { return yes(s.GetArchived()) }),
		),
		call(a, verb{
			use: "show SITE", short: "Show a site", args: []string{"id"}, example: "  lastlight site show hollow-spring",
		}, c, pb.SiteServiceClient.GetSite, nil, detail),
		call(a, verb{
			use: "create [SITE]", short: "Enter a site", args: []string{"site.id?"}, block: "site", file: true, flags: siteFlags,
			example: "  lastlight site create hollow-spring --title \"Hollow Spring\" --time-zone Europe/Zurich \\\n" +
				"    --water-density 1000 --altitude-m 430 --grade 3\n  lastlight site create -f site.yaml",
		}, c, pb.SiteServiceClient.CreateSite, nil, done[*pb.Site]("Entered.")),
		update(a, verb{
			use: "update SITE", short: "Change fields of a site", args: []string{"site.id"}, block: "site", file: true, flags: siteFlags,
			example: "  lastlight site update hollow-spring --grade 4 --level-max-m 1.2",
		}, c, pb.SiteServiceClient.UpdateSite, func(id string) *pb.GetSiteRequest { return &pb.GetSiteRequest{Id: id} }, pb.SiteServiceClient.GetSite),
		call(a, verb{
			use: "archive SITE", short: "Take a site out of use; its history stays", args: []string{"id"}, example: "  lastlight site archive hollow-spring",
		}, c, pb.SiteServiceClient.ArchiveSite, nil, done[*pb.Site]("Archived.")),
		a.siteHistory(),
	)
}

var siteFlags = []string{
	"exact_latitude=exact_position.latitude", "exact_longitude=exact_position.longitude",
	"thresholds.level_min_m", "thresholds.level_max_m", "thresholds.flow_max", "thresholds.visibility_min_m",
	"emergency.emergency_number", "emergency.rescue_service", "emergency.hospital", "emergency.signal_point",
	"emergency.walk_to_signal_min", "emergency.confirmed_day",
}

func (a *app) siteHistory() *cobra.Command {
	cmd, build := command[*pb.GetSiteHistoryRequest](a, verb{
		use: "history SITE", short: "Dives, incidents, readings, what was left on the line", args: []string{"site"},
		example: "  lastlight site history hollow-spring",
	})
	limit := cmd.Flags().Int("limit", 200, "most entries to show")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if *limit < 1 || *limit > mostRows {
			return usage(cmd, fmt.Errorf("--limit %d: 1 to %d", *limit, mostRows))
		}
		req := &pb.GetSiteHistoryRequest{}
		if err := build.request(cmd, args, req, nil); err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		var all *pb.SiteHistory
		for {
			req.PageSize = int32(pageSize)
			h, err := pb.NewSiteServiceClient(conn).GetSiteHistory(cmd.Context(), req)
			if err != nil {
				return err
			}
			if all == nil {
				all = h
			} else {
				all.Entries = append(all.Entries, h.GetEntries()...)
			}
			req.PageToken = h.GetNextPageToken()
			if req.PageToken == "" || len(all.GetEntries()) >= *limit {
				break
			}
		}
		all.NextPageToken = ""
		if len(all.GetEntries()) > *limit {
			all.Entries = all.Entries[:*limit]
		}
		return a.answer(cmd.Context(), all, func(w screen.View) error { return showHistory(w, all) })
	}
	return cmd
}

func showHistory(w screen.View, h *pb.SiteHistory) error {
	entries := table.Table{Columns: []table.Column{{Title: "at"}, {Title: "kind"}, {Title: "id"}, {Title: "summary", Wraps: true}}}
	for _, e := range h.GetEntries() {
		entries.Rows = append(entries.Rows, []string{cmp.Or(w.Time(e.GetAt(), h.GetSite()), e.GetDay()), e.GetKind(), e.GetId(), e.GetSummary()})
	}
	if !w.Page {
		return w.Table(entries)
	}
	incidents, rate := strconv.Itoa(int(h.GetIncidents())), ""
	switch r := h.GetRate(); {
	case r.GetUpper() > 0: // no rate is certain to be nought
		rate = fmt.Sprintf("%.1f per 1,000 people-dives (%.1f to %.1f)", r.GetPerThousand(), r.GetLower(), r.GetUpper())
	case r.GetShownAs() != "": // a count that is hidden is not none
		incidents, rate = r.GetShownAs(), "not shown"
	}
	head := table.Table{Columns: []table.Column{{Title: "site"}, {Title: "dives", Right: true}, {Title: "people-dives", Right: true}, {Title: "incidents", Right: true}, {Title: "rate", Wraps: true}}}
	head.Rows = [][]string{{h.GetSite(), strconv.Itoa(int(h.GetDives())), strconv.Itoa(int(h.GetPeopleDives())), incidents, rate}}
	if err := w.Table(head); err != nil {
		return err
	}
	if _, err := fmt.Fprintln(w.Out); err != nil {
		return err
	}
	if err := w.Table(entries); err != nil {
		return err
	}
	if len(h.GetLeft()) == 0 {
		return nil
	}
	if _, err := fmt.Fprintf(w.Out, "\nLeft in the cave:\n"); err != nil {
		return err
	}
	return leftRows(w, h.GetLeft())
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return ""
}

func join(list []string) string { return strings.Join(list, ", ") }
