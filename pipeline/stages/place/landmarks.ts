export const readLandmarks=(t:string,f:string)=>t.trim().split('\n').slice(1).map((l)=>{const n=l.split(',').map(Number);return {voxel:[n[0],n[1],n[2]],dieUm:[n[3],n[4],n[5]]} as any});
