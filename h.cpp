#include "/work/main/tests/plan/instances.h"
int main(){auto b=teasel::testing::dense_board(200,1);return b.problem.columns()==0;}