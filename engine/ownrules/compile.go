package ownrules

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/ast"
	"cel.dev/cel-go/common/cost"
	"cel.dev/cel-go/common/env"
	"cel.dev/cel-go/common/types"

	"lastlight/engine/policy"
)

// Bounds of what an expression may cost, in the units of the language's cost model: about one for each value read, compared or
// looked at in a list.
const (
	MaxCost  = 1_000_000 // of one rule about all its subjects, at worst
	maxTotal = 2_000_000 // of all rules of one evaluation
)

// Problem is one fault of a rule's expression.
type Problem struct {
	Rule         int // index in the document
	Line, Column int // in the expression, from 1; 0: the expression as a whole
	Text         string
}

// What lists can hold at most, for the cost at worst.
var longest = map[string]uint64{"team": 6, "supplies": 60, "cylinders": 120, "items": 300, "findings": 3000, "endorsements": 60}

const longestText = 200 // characters of a text of the view

// compiled is a rule that is ready to be asked.
type compiled struct {
	rule    policy.OwnRule
	program cel.Program
	faults  []Problem // why there is no program
}

// Check finds everything that is wrong with the expressions of a document.
func Check(rules []policy.OwnRule) []Problem {
	var out []Problem
	for i, r := range compile(rules) {
		for _, p := range r.faults {
			p.Rule = i
			out = append(out, p)
		}
	}
	return out
}

// subject is the variable that the expression of a rule has beside the fields of the view.
func subject(a policy.About) (name string, t *typeOf, most uint64) {
	switch a {
	case policy.AboutDiver:
		return "diver", byName["Diver"], longest["team"]
	case policy.AboutSupply:
		return "supply", byName["Supply"], longest["supplies"]
	case policy.AboutCylinder:
		return "cylinder", byName["Cylinder"], longest["cylinders"]
	case policy.AboutItem:
		return "item", byName["Item"], longest["items"]
	}
	return "", nil, 1
}

// excluded are the functions of the language's own library that no rule has: those of times and durations, whose zones are read
// from the machine, and dyn, which leaves the types.
var excluded = []string{
	"timestamp", "duration", "dyn", "getFullYear", "getMonth", "getDayOfYear", "getDate", "getDayOfMonth", "getDayOfWeek",
	"getHours", "getMinutes", "getSeconds", "getMilliseconds",
}

// environment is what an expression about a kind of subject may name.
var environment = func() func(policy.About) (*cel.Env, error) {
	type made struct {
		env *cel.Env
		err error
	}
	var lock sync.Mutex
	all := map[policy.About]made{}
	return func(a policy.About) (*cel.Env, error) {
		lock.Lock()
		defer lock.Unlock()
		m, ok := all[a]
		if !ok {
			m.env, m.err = newEnvironment(a)
			all[a] = m
		}
		return m.env, m.err
	}
}()

func newEnvironment(a policy.About) (*cel.Env, error) {
	library := env.NewLibrarySubset()
	for _, name := range excluded {
		library.AddExcludedFunctions(env.NewFunction(name))
	}
	options := []cel.EnvOption{
		cel.StdLib(cel.StdLibSubset(library)),
		// A club writes "at most 30 m", not 30.0.
		cel.CrossTypeNumericComparisons(true),
		cel.CustomTypeProvider(registry), cel.CustomTypeAdapter(registry),
		cel.ParserRecursionLimit(50), cel.ParserExpressionSizeLimit(policy.MaxExpression),
		cel.ASTValidators(cel.ValidateRegexLiterals(), cel.ValidateHomogeneousAggregateLiterals(), cel.ValidateComprehensionNestingLimit(3)),
	}
	for _, f := range view.fields {
		options = append(options, cel.VariableWithDoc(f.name, f.celType, f.doc))
	}
	if name, t, _ := subject(a); name != "" {
		options = append(options, cel.Variable(name, t.cel))
	}
	return cel.NewCustomEnv(options...)
}

// kept is what was compiled: a comparison asks the rules of two policies in turn about every plan. It starts anew when it has
// grown past what a few policies can hold.
var kept struct {
	sync.Mutex
	made map[expression]compiled
}

const mostKept = 4 * policy.MaxOwnRules

// expression is what a compiled rule depends on.
type expression struct {
	about policy.About
	holds string
}

func compile(rules []policy.OwnRule) []compiled {
	if len(rules) == 0 {
		return nil
	}
	kept.Lock()
	defer kept.Unlock()
	out := make([]compiled, len(rules))
	for i, r := range rules {
		key := expression{r.About, r.Holds}
		made, ok := kept.made[key]
		if !ok {
			if made = compileOne(r); kept.made == nil || len(kept.made) >= mostKept {
				kept.made = map[expression]compiled{}
			}
			kept.made[key] = made
		}
		out[i] = made
		out[i].rule = r
		out[i].faults = slices.Clone(made.faults)
	}
	return out
}

func compileOne(r policy.OwnRule) compiled {
	out := compiled{rule: r}
	wrong := func(line, column int, format string, args ...any) compiled {
		if line < 1 || column < 1 { // limits of the parser have no place
			line, column = 0, 0
		}
		out.faults = append(out.faults, Problem{Line: line, Column: column, Text: fmt.Sprintf(format, args...)})
		return out
	}
	if len(r.Holds) > policy.MaxExpression {
		return wrong(0, 0, "an expression of %d bytes, at most %d", len(r.Holds), policy.MaxExpression)
	}
	e, err := environment(r.About)
	if err != nil {
		return wrong(0, 0, "%v", err)
	}
	checked, issues := e.Compile(r.Holds)
	if issues != nil && issues.Err() != nil {
		for _, x := range issues.Errors() {
			wrong(x.Location.Line(), x.Location.Column()+1, "%s", oneLine(x.Message)+hint(x.Message))
		}
		return out
	}
	if t := checked.OutputType(); !t.IsExactType(types.BoolType) {
		return wrong(0, 0, "the expression is a %s, not true or false", t)
	}
	for _, at := range mapsLookedThrough(checked.NativeRep()) {
		place := checked.NativeRep().SourceInfo().GetStartLocation(at)
		wrong(place.Line(), place.Column()+1, "a map is looked through, whose entries have no order: look through a list, or read the map by a key")
	}
	if len(out.faults) > 0 {
		return out
	}
	_, _, most := subject(r.About)
	c, err := e.EstimateCost(checked, sizes{})
	if err != nil {
		return wrong(0, 0, "its cost cannot be told: %s", oneLine(err.Error()))
	}
	if c.Max > MaxCost/most {
		return wrong(0, 0, "it may cost %s at worst for %d subjects, at most %d: look at fewer lists within lists", costText(c.Max), most, MaxCost)
	}
	p, err := e.Program(checked, cel.CostLimit(MaxCost), cel.EvalOptions(cel.OptTrackCost))
	if err != nil {
		return wrong(0, 0, "%s", oneLine(err.Error()))
	}
	out.program = p
	return out
}

// mapsLookedThrough are the maps over which a macro goes, by their place in the expression. The order in which it would do so is
// another in every run, and with it, through a list made of the entries, the answer: the same input must give the same bytes.
func mapsLookedThrough(a *ast.AST) (found []int64) {
	for _, x := range ast.MatchDescendants(ast.NavigateAST(a), ast.KindMatcher(ast.ComprehensionKind)) {
		if over := x.AsComprehension().IterRange(); a.GetType(over.ID()).Kind() != types.ListKind {
			found = append(found, over.ID())
		}
	}
	return found
}

// hint says what is mostly meant where whole numbers and others are mixed in a sum or with ==.
func hint(message string) string {
	if strings.Contains(message, "no matching overload") && strings.Contains(message, "double") && strings.Contains(message, "int") {
		return ": a double wants a number with a point, as in 30.0, or double(…)"
	}
	return ""
}

func costText(n uint64) string {
	if n == math.MaxUint64 {
		return "more than can be told"
	}
	return fmt.Sprint(n)
}

func oneLine(s string) string {
	r := []rune(strings.Join(strings.Fields(s), " "))
	return string(r[:min(len(r), 300)])
}

// sizes tells how long the lists and texts of the view are at most.
type sizes struct{}

func (sizes) EstimateSize(n cost.AstNode) *cost.SizeEstimate {
	path := n.Path()
	if len(path) == 0 {
		return nil
	}
	if most, ok := longest[path[len(path)-1]]; ok {
		return &cost.SizeEstimate{Min: 0, Max: most}
	}
	return &cost.SizeEstimate{Min: 0, Max: longestText}
}

func (sizes) EstimateCallCost(string, string, *cost.AstNode, []cost.AstNode) *cost.CallEstimate {
	return nil
}
