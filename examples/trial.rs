use faydeck::*;
struct T(std::time::Instant,Vec<(String,f64)>);
impl Observer for T { fn enter(&mut self,s:&'static str){ let t=self.0.elapsed().as_secs_f64(); self.1.push((s.into(),t)); } }
fn main(){ let l=std::env::var("LEN").is_ok(); for c in std::env::args().skip(1){ let b=std::fs::read(format!("/work/shared/cases/{c}/scan.ply")).unwrap();
 let js:serde_json::Value=serde_json::from_slice(&std::fs::read(format!("/work/shared/cases/{c}/truth.json")).unwrap()).unwrap();
 let text=Board::template("scan.ply",None,js["tape_width"].as_f64().unwrap(),if l {js["tape_length"].as_f64()} else {None});
 let board=Board::parse(&text).unwrap(); let mut t=T(std::time::Instant::now(),vec![]);
 match build(&board,&b,None,&mut t){Err(e)=>println!("{c}: {e}"),Ok(r)=>{ let end=t.0.elapsed().as_secs_f64(); println!("{c} {:?} end {end}\n{}",t.1,r.report.to_text());
 let d=format!("/tmp/w/out/{c}"); std::fs::create_dir_all(&d).unwrap(); for f in &r.files { std::fs::write(format!("{d}/{}",f.name),&f.bytes).unwrap(); } std::fs::write(format!("{d}/report.html"),r.report.to_html()).unwrap(); std::fs::write(format!("{d}/report.json"),r.report.to_json()).unwrap(); }}
}}
