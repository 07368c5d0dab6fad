use faydeck::*;
fn main(){ for c in std::env::args().skip(1){ let b=std::fs::read(format!("/work/shared/cases/{c}/scan.ply")).unwrap();
 let t0=std::time::Instant::now();
 let cl=read_scan(&b).unwrap().value; let t1=t0.elapsed();
 let js:serde_json::Value=serde_json::from_slice(&std::fs::read(format!("/work/shared/cases/{c}/truth.json")).unwrap()).unwrap();
 let tape=Tape{width_mm:js["tape_width"].as_f64().unwrap(),length_mm:None,tolerance_mm:0.7};
 match frame_deck(&cl,&tape){Err(e)=>println!("{c}: {e}"),Ok(f)=>{ let t2=t0.elapsed(); println!("{c} {:?} warn {:?}\n scale err % {:.3}",f.value.report,f.warnings,100.0*(f.value.scale.mm_per_unit/js["scale"].as_f64().unwrap()-1.0));
  let (lo,hi)=f.value.rim.bounds(); println!(" rim {:.1} x {:.1}",hi[0]-lo[0],hi[1]-lo[1]);
  let z=fit_underside(&f.value.sheet,&f.value.rim,&SurfaceOptions::default()).unwrap(); println!(" rms {:.3} se {:.3} lam {} cp {:?} rej {:.3} read {t1:?} frame {t2:?} all {:?}",z.value.report.residual_rms_mm,z.value.report.standard_error_mm,z.value.report.smoothing,z.value.report.control_points,z.value.report.rejected_ratio,t0.elapsed());
  std::fs::write(format!("/tmp/w/{c}_rim.txt"),f.value.rim.points.iter().map(|p|format!("{} {}\n",p[0],p[1])).collect::<String>()).unwrap();std::fs::write(format!("/tmp/w/{c}_sheet.ply"),export::write_ply(&f.value.sheet,None,&[])).unwrap();
 }}}}
