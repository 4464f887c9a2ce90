package noninterference
import ("testing";"math/rand/v2";"fmt")
func TestDbg(t *testing.T){
 kept,_ := beginnings(t)
 for i,p := range kept.tree.parts(){
  d := &dice{rand.New(rand.NewPCG(uint64(i), 1)), t}
  w := kept.tree.clone()
  what := renamePart(d,w,[]string{p})
  s := kept.shopOf(t,w)
  fmt.Println(what, held(s.units(today)))
  fmt.Println(difference(kept.want,s.make()))
  s.close()
 }
}
func TestDbg2(t *testing.T){
 kept,_ := beginnings(t)
 for i:= range 40 {
  d := &dice{rand.New(rand.NewPCG(uint64(i), 1)), t}
  w := kept.tree.clone()
  a := addPart(d,w)
  what := renamePart(d,w,w.notCounted())
  s := kept.shopOf(t,w)
  if h:=held(s.units(today)); len(h)>0 { fmt.Println(a,what,h); s.said.Reset(); s.run(today,"check"); fmt.Println(s.said.String()) }
  s.close()
 }
}
