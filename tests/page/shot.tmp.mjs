import puppeteer from 'puppeteer-core'; import {readFileSync} from 'node:fs';
const b=await puppeteer.launch({executablePath:'/usr/bin/chromium',args:['--no-sandbox']});
const [,, scheme, out, ...files]=process.argv;
const p=await b.newPage(); await p.setViewport({width:760,height:600});
for(const f of files){ await p.goto('file://'+f); const n=f.split('/').pop().replace('.svg',''); await p.screenshot({path:`${out}/${n}.png`,fullPage:true}); }
await b.close();
